"""List the target scales that a take can be measured against."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.scales import published_scales

if TYPE_CHECKING:
    from canebench.base.scales import Scale


def list_scales() -> tuple[Scale, ...]:
    """The published scales, the default first."""
    return tuple(published_scales().values())

"""A finding: something a reader should know about one take, with a stable code.

Guarded by `tests/invariants/test_base_edges.py`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One remark. `refuses` marks a finding because of which no notes are reported."""

    code: str
    text: str
    refuses: bool = False

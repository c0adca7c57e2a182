"""Numbers as options and arguments: read as forms read them, so a decimal comma and a true minus will do.

Guarded by `tests/doors/test_typed_numbers.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from canebench.base.errors import InputError
from canebench.base.parsing import count_from, number_from

if TYPE_CHECKING:
    from collections.abc import Callable

Read = TypeVar("Read", int, float)


class _Number(click.ParamType[float]):
    """A finite number."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number that was typed; a default is one already."""
        return float(value) if isinstance(value, int | float) else _read(number_from, value, param, ctx)


class Count(click.ParamType[int]):
    """A whole number, perhaps within bounds."""

    name = "count"

    def __init__(self, low: int | None = None, high: int | None = None) -> None:
        self._low, self._high = low, high

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """The whole number that was typed; a default is one already."""
        count = value if isinstance(value, int) else _read(count_from, value, param, ctx)
        if (self._low is not None and count < self._low) or (self._high is not None and count > self._high):
            raise click.BadParameter(f"{value}: {self._low} to {self._high} is allowed.", ctx, param)
        return count


def _read(
    read: Callable[[str, str], Read], text: str, param: click.Parameter | None, ctx: click.Context | None
) -> Read:
    try:
        return read(text, "number")
    except InputError as error:
        raise click.BadParameter(f"{error.given}: {error.allowed}.", ctx, param) from error


NUMBER: Final = _Number()
COUNT: Final = Count()

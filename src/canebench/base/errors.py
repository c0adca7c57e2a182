"""The errors a reader can act on: one root, one child for each thing they can do about it.

Each sentence says what was given, what is allowed and the nearest thing that works. Guarded by
`tests/invariants/test_base_edges.py`.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING, ClassVar

if TYPE_CHECKING:
    from collections.abc import Iterable


class CanebenchError(Exception):
    """Root of all our errors.

    `code` is stable; `exit_status` is what the command ends with, `http_status` what the page answers with.
    """

    code: ClassVar[str] = "failed"
    exit_status: ClassVar[int] = 1
    http_status: ClassVar[int] = 500

    def __reduce__(self) -> tuple[object, ...]:
        """The same error in another process, whatever it was made from."""
        return _again, (type(self), self.args, self.__dict__)


def _again(kind: type[CanebenchError], args: tuple[object, ...], told: dict[str, object]) -> CanebenchError:
    made = kind.__new__(kind)
    made.args = args
    made.__dict__.update(told)
    return made


class InputError(CanebenchError):
    """A value or a file that cannot be used as given."""

    code: ClassVar[str] = "input"
    exit_status: ClassVar[int] = 4
    http_status: ClassVar[int] = 422

    def __init__(self, *, field: str, given: str, allowed: str, nearest: str | None = None) -> None:
        self.field, self.given, self.allowed, self.nearest = field, given, allowed, nearest
        advice = f" Nearest that works: {nearest}." if nearest else ""
        super().__init__(f"{field}: {given} was given; {allowed}.{advice}")


class DoubtError(InputError):
    """Something that may be right and looks like a slip: asked about before it is taken.

    The nearest thing that works is the door's to tell: each has its own way to say "as it is".
    """

    code: ClassVar[str] = "doubt"


class UnknownNameError(InputError):
    """A name that is not in a closed list."""

    code: ClassVar[str] = "unknown-name"

    def __init__(self, *, field: str, given: str, known: Iterable[str]) -> None:
        names = list(known)
        close = get_close_matches(given, names, n=1, cutoff=0.4)
        super().__init__(
            field=field,
            given=repr(given),
            allowed=f"allowed are {', '.join(names)}",
            nearest=close[0] if close else None,
        )


class UnlessInsistedError(InputError):
    """Something that is advised against, with the reason; it is done where one says that one insists."""

    code: ClassVar[str] = "insist"


class DecodeError(InputError):
    """A file that holds no sound we can read, or lies about what it holds."""

    code: ClassVar[str] = "decode"


class NotFoundError(CanebenchError):
    """A file that is not there."""

    code: ClassVar[str] = "not-found"
    exit_status: ClassVar[int] = 5
    http_status: ClassVar[int] = 404

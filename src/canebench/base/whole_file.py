"""A file written whole or not at all.

Guarded by `tests/doors/test_cards.py`, `tests/faults/test_fitting_file.py` and
`tests/faults/test_failing_files.py`.
"""

from __future__ import annotations

import os
import secrets
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from canebench.base.errors import InputError
from canebench.base.sentences import cannot

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_NEEDED = "a folder that exists, with write access, is needed"


def write_whole(path: Path, content: bytes, *, field: str) -> None:
    """Write a file beside its place, then put it there.

    Opened like any new file, so that the folder's own rules say who may read it.

    Raises
    ------
    InputError
        It cannot be there; `field` says what it is, in the sentence.
    """
    beside = _written_beside(path, content, field=field)
    try:
        beside.replace(path)
    except OSError as error:
        _remove(beside)
        raise _refused(path, field, error, f"{_NEEDED}; nothing was changed") from error


@contextmanager
def written_with(path: Path | None, content: bytes, *, field: str) -> Iterator[None]:
    """A file that appears when the block has done what it does, and only then; where a path is given.

    Where there is no room for it, the block is not begun.
    """
    if path is None:
        yield
        return
    beside = _written_beside(path, content, field=field)
    try:
        yield
    except BaseException:
        _remove(beside)
        raise
    try:
        beside.replace(path)
    except OSError as error:
        _remove(beside)
        raise _refused(path, field, error, "all else is done; ask for the file alone") from error


def _written_beside(path: Path, content: bytes, *, field: str) -> Path:
    beside = path.with_name(f".{path.name[:40]}.{secrets.token_hex(4)}")
    try:
        with beside.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except BaseException as error:
        _remove(beside)
        if isinstance(error, OSError):
            raise _refused(path, field, error, f"{_NEEDED}; nothing was changed") from error
        raise
    return beside


def _remove(beside: Path) -> None:
    with suppress(OSError):
        beside.unlink(missing_ok=True)


def _refused(path: Path, field: str, error: OSError, allowed: str) -> InputError:
    return InputError(field=f"{field} {path}", given=f"a place {cannot('written', error)}", allowed=allowed)

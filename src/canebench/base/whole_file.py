"""A file written whole or not at all.

Guarded by `tests/doors/test_cards.py` and `tests/faults/test_fitting_file.py`.
"""

from __future__ import annotations

import os
import secrets
from typing import TYPE_CHECKING

from canebench.base.errors import InputError
from canebench.base.sentences import cannot

if TYPE_CHECKING:
    from pathlib import Path


def write_whole(path: Path, content: bytes, *, field: str) -> None:
    """Write a file beside its place, then put it there.

    Opened like any new file, so that the folder's own rules say who may read it.

    Raises
    ------
    InputError
        It cannot be there; `field` says what it is, in the sentence.
    """
    beside = path.with_name(f".{path.name[:40]}.{secrets.token_hex(4)}")
    try:
        try:
            with beside.open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise InputError(
            field=f"{field} {path}",
            given=f"a place {cannot('written', error)}",
            allowed="a folder that exists, with write access, is needed; nothing was changed",
        ) from error

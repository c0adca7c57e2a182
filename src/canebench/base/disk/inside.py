"""A path that is built from data lies inside its folder, whatever the data says.

Guarded by `tests/faults/test_paths_from_data.py`.
"""

from __future__ import annotations

from pathlib import Path, PurePosixPath, PureWindowsPath

from canebench.base.errors import InputError


def inside(folder: Path, name: str) -> Path:
    """The file or folder of a name that stands in `folder` itself.

    Raises
    ------
    InputError
        The name leads somewhere else, or is none.
    """
    plain = name not in ("", ".", "..") and "\x00" not in name
    # By either system's rules: a backup or an import may come from the other.
    if not plain or any(kind(name).name != name for kind in (PurePosixPath, PureWindowsPath)):
        raise InputError(
            field="file", given=repr(name[:80]), allowed=f"a plain name of something in {folder} is needed"
        )
    return folder / name

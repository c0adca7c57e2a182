"""TOML written by hand: read at once or refused in plain words, whatever the file holds.

Guarded by `tests/faults/test_chanter_file.py`.
"""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any, Final

from canebench.base.errors import InputError, NotFoundError
from canebench.base.sentences import cannot

if TYPE_CHECKING:
    from pathlib import Path

MOST_BYTES: Final = 100_000
#: Time to read a dotted key grows with the square of its parts: no key of ours has two.
_DEEP_KEY: Final = re.compile(
    r"""(?<![\w-])(?:(?:[\w-]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){12}"""
)
_LINE: Final = re.compile(r"\(at line (\d+), column \d+\)")
#: What a decimal comma comes to, in a file that has none.
POINT_NOT_COMMA: Final = "a point marks decimals, not a comma"
_HINTS: Final = (
    (re.compile(r"=\s*[-+]?\d+,\d"), POINT_NOT_COMMA),
    (re.compile(r"=\s*[-+]?[\d.]+\s*[A-Za-z\"'%°]"), "the number alone; its unit is in the key's name"),
    (re.compile(r"=\s*[^\s\d\"'\[{+.-]"), 'text stands in straight quotes: "low A"'),
    (
        re.compile(r"=\s*[-+]?(\.\d|0\d|\d+\.(\D|$))"),
        "a number such as 0.5: digits on both sides of the point",
    ),
    (re.compile(r"^\s*[^=#\[]*$"), "a key, an equals sign and a value: gap_mm = 3.0"),
)


def read_text(path: Path, *, start_from: str) -> str:
    """The text of a file of at most `MOST_BYTES`; `start_from` tells where to get one that works."""
    where = str(path)
    try:
        if path.is_dir():
            raise InputError(field=where, given="a directory", allowed="a file is needed")
        if not path.is_file():
            raise NotFoundError(f"{path}: no such file. {start_from}")
        with path.open("rb") as handle:
            data = handle.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputError(
            field=where, given=f"a file {cannot('read', error)}", allowed="it must be readable"
        ) from error
    if len(data) > MOST_BYTES:
        raise _too_long(where)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            field=where, given="not text", allowed="UTF-8 text is needed", nearest="save it again as UTF-8"
        ) from error


def tables(text: str, *, name: str) -> dict[str, Any]:
    """The tables of a TOML text; `name` stands in the errors."""
    if len(text) > MOST_BYTES:
        raise _too_long(name)
    if _DEEP_KEY.search(text):
        raise InputError(field=name, given="a key of many parts", allowed="keys have one part")
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except RecursionError as error:
        raise InputError(field=name, given="lists within lists", allowed="two deep at most") from error
    except tomllib.TOMLDecodeError as error:
        raise _plainly(text, str(error), name) from error
    except ValueError as error:  # a whole number of thousands of digits
        raise InputError(field=name, given="an endless number", allowed="sizes are needed") from error


def _too_long(name: str) -> InputError:
    return InputError(
        field=name, given=f"more than {MOST_BYTES} bytes", allowed=f"at most {MOST_BYTES} are read"
    )


def _plainly(text: str, said: str, name: str) -> InputError:
    """The error at its line, with the line itself and the likely slip."""
    at = _LINE.search(said)
    if at is None:
        return InputError(
            field=name, given="an end in the middle", allowed=f"TOML is needed ({said})", nearest=None
        )
    line = text.split("\n")[int(at[1]) - 1].strip()
    hint = next((words for pattern, words in _HINTS if pattern.search(line)), None)
    if said.startswith("Cannot"):
        hint = "perhaps it stands there twice"
    return InputError(
        field=f"{name}, line {at[1]}",
        given=repr(line[:60]),
        allowed=f"TOML is needed ({said[: at.start()].strip()})",
        nearest=hint,
    )

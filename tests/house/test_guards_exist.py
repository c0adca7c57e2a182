"""Promises that the source makes about itself are kept: guards exist, files are small, nothing links out."""

from __future__ import annotations

import ast
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest

import canebench

_ROOT = Path(__file__).resolve().parents[2]
_SRC = _ROOT / "src"
_MOST_LINES = 350
#: Guards are named by their path in backquotes; so are benchmarks and documents.
_NAMED = re.compile(r"`((?:tests|benchmarks|docs)/[^`\s]*)`")
_ADDRESS = re.compile(r"https?://")
#: Names of formats, which are written into files and fetched by nobody, and addresses of this machine that
#: are put together.
_FORMAT_NAMES = ("http://www.w3.org/2000/svg", "https://json-schema.org/draft/2020-12/schema", "http://{")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A file of ours, by its path from the root of the repository."""

    path: str
    text: str


def _sources(*endings: str) -> list[Source]:
    # What others wrote, kept as it came, names its home.
    paths = sorted(p for p in _SRC.rglob("*") if p.suffix in endings and "vendor" not in p.parts)
    return [
        Source(path=path.relative_to(_ROOT).as_posix(), text=path.read_text(encoding="utf-8"))
        for path in paths
    ]


def _docstrings(text: str) -> list[str]:
    parts = [
        node
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    return [doc for node in parts if (doc := ast.get_docstring(node)) is not None]


def _guards(source: Source) -> list[str]:
    """Every path of ours that the file's docstrings name."""
    return [name for doc in _docstrings(source.text) for name in _NAMED.findall(doc)]


def _missing_guards(sources: list[Source]) -> list[str]:
    return [
        f"{source.path} names {name}"
        for source in sources
        for name in _guards(source)
        if not (_ROOT / name).exists()
    ]


def _too_long(sources: list[Source]) -> list[str]:
    return [source.path for source in sources if len(source.text.splitlines()) > _MOST_LINES]


def _addresses(sources: list[Source]) -> list[str]:
    found = []
    for source in sources:
        for number, line in enumerate(source.text.splitlines(), start=1):
            bare = line
            for name in _FORMAT_NAMES:
                bare = bare.replace(name, "")
            if _ADDRESS.search(bare):
                found.append(f"{source.path}:{number}")
    return found


def test_the_source_is_found() -> None:
    """Without this an empty list would let all the others pass."""
    sources = _sources(".py")
    assert len(sources) > 40
    assert sum(len(_guards(source)) for source in sources) > 20


def test_every_guard_that_a_docstring_names_exists() -> None:
    assert _missing_guards(_sources(".py")) == []


@pytest.mark.parametrize(
    "docstring",
    [
        "Guarded by `tests/analytic/test_no_such.py`.",
        "What it does. Guard: `tests/no_such.py`",
        "What it does.\\n\\n    Guarded by `tests/conftest.py` and\\n    `tests/no_such.py`. More of it.",
        "Guarded by the figures of `benchmarks/no_such.py`; see also `tests/conftest.py`.",
        "Source: `docs/no_such.py`. Guarded by `tests/conftest.py`.",
    ],
)
def test_control_a_made_up_guard_is_caught(docstring: str) -> None:
    """In a module, a class, a function or a method alike, on one line or broken over two."""
    doc = docstring.replace("\\n", "\n")
    texts = (
        f'"""{doc}"""\n',
        f'class A:\n    """{doc}"""\n',
        f'def f() -> None:\n    """{doc}"""\n',
        f'class A:\n    def f(self) -> None:\n        """{doc}"""\n',
    )
    for text in texts:
        (said,) = _missing_guards([Source(path="made_up.py", text=text)])
        assert "no_such.py" in said


def test_no_source_file_is_longer_than_400_lines() -> None:
    assert _too_long(_sources(".py")) == []


def test_control_a_file_of_351_lines_is_caught() -> None:
    assert _too_long([Source(path="long.py", text="x = 1\n" * 351)]) == ["long.py"]
    assert _too_long([Source(path="fits.py", text="x = 1\n" * 350)]) == []


def test_the_source_links_to_nowhere() -> None:
    """Nothing in the package holds an address: it fetches nothing and sends nobody away."""
    assert _addresses(_sources(".py", ".toml", ".html", ".css", ".js")) == []


def test_control_an_address_is_caught() -> None:
    """Also one beside the name of a format, and one that only starts like it."""
    text = 'NAME = "http://www.w3.org/2000/svg"\nPAGE = "https://example.org/"\n# http://www.w3.org/\n'
    assert _addresses([Source(path="made_up.py", text=text)]) == ["made_up.py:2", "made_up.py:3"]


def _declared_version() -> str:
    with (_ROOT / "pyproject.toml").open("rb") as handle:
        return str(tomllib.load(handle)["project"]["version"])


def test_the_package_has_the_version_that_is_declared() -> None:
    assert re.fullmatch(r"\d+\.\d+\.\d+\S*", canebench.__version__)
    assert canebench.__version__ == _declared_version()

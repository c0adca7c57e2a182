"""What checks the page is pinned by hashes; where it cannot run, that is said and never passes unasked."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

_ROOT = Path(__file__).resolve().parents[2]
_LOCK = _ROOT / "package-lock.json"
_EXACT = re.compile(r"\d+\.\d+\.\d+")
_NOT_CHECKED = "NOT CHECKED: the page's scripts, styles and templates."


def _unpinned(lock: dict[str, Any]) -> list[str]:
    """Packages that are not bound to one content, or to one place to get it from."""
    packages = {path: told for path, told in lock["packages"].items() if path}
    return [
        path
        for path, told in packages.items()
        if not told.get("integrity", "").startswith("sha512-") or "resolved" in told or not told.get("dev")
    ]


def test_every_package_is_pinned_by_its_hash_and_names_no_place() -> None:
    lock = json.loads(_LOCK.read_text(encoding="utf-8"))
    assert len(lock["packages"]) > 50
    assert _unpinned(lock) == []
    wanted = json.loads((_ROOT / "package.json").read_text(encoding="utf-8"))
    assert "dependencies" not in wanted
    assert [version for version in wanted["devDependencies"].values() if not _EXACT.fullmatch(version)] == []
    assert lock["packages"][""]["devDependencies"] == wanted["devDependencies"]


@pytest.mark.parametrize(
    "change", [{"integrity": ""}, {"integrity": "sha1-x"}, {"resolved": "x"}, {"dev": False}]
)
def test_a_loose_package_is_noticed(change: dict[str, object]) -> None:
    """Control."""
    firm = {"version": "1.0.0", "integrity": "sha512-x", "dev": True}
    assert _unpinned({"packages": {"": {}, "a": firm, "b": firm | change}}) == ["b"]


@pytest.fixture
def front(tmp_path: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """`scripts/front` in a clone without packages, with the given programs and the usual ones alone."""
    clone, programs = tmp_path / "clone", tmp_path / "programs"
    programs.mkdir()
    (clone / "scripts").mkdir(parents=True)
    shutil.copy(_ROOT / "scripts" / "front", clone / "scripts")
    for name in ("package.json", "package-lock.json"):
        shutil.copy(_ROOT / name, clone)
    for name in ("bash", "cat", "cut", "dirname", "env", "grep", "mkdir", "rm", "sha256sum"):
        (programs / name).symlink_to(str(shutil.which(name)))

    def run(*options: str, **given: str) -> subprocess.CompletedProcess[str]:
        for name, script in given.items():
            (programs / name).write_text(f"#!/usr/bin/env bash\n{script}\n", encoding="utf-8")
            (programs / name).chmod(0o755)
        return subprocess.run(
            [clone / "scripts" / "front", *options],
            env={"PATH": str(programs)},
            capture_output=True,
            text=True,
            check=False,
        )

    return run


_NO_NETWORK = "echo npm error code ENOTFOUND >&2; exit 1"
_OTHER_CONTENT = "echo npm error code EINTEGRITY >&2; exit 1"
_GETS_THEM = """
mkdir -p node_modules/.bin
for tool in eslint prettier; do
    printf '#!/usr/bin/env bash\\necho %s; [[ ! -f wrong ]]\\n' "$tool" >node_modules/.bin/$tool
done
/bin/chmod +x node_modules/.bin/*
"""


@pytest.mark.parametrize(
    ("programs", "why"),
    [
        ({}, "Node.js or npm is not here"),
        ({"node": "true"}, "Node.js or npm is not here"),
        ({"node": "true", "npm": _NO_NETWORK}, "npm cannot get their packages (ENOTFOUND)"),
    ],
)
def test_what_is_not_checked_is_said_and_fails_unless_it_may_be_left_out(
    front: Callable[..., subprocess.CompletedProcess[str]], programs: dict[str, str], why: str
) -> None:
    for options, code in (((), 1), (("--may-skip",), 0)):
        done = front(*options, **programs)
        assert (done.returncode, done.stdout) == (code, "")
        assert f"{_NOT_CHECKED} {why}." in done.stderr


def test_content_that_is_not_what_is_pinned_fails_in_any_case(
    front: Callable[..., subprocess.CompletedProcess[str]],
) -> None:
    done = front("--may-skip", node="true", npm=_OTHER_CONTENT)
    assert done.returncode == 1
    assert "EINTEGRITY" in done.stderr


def test_where_they_can_be_had_both_run_and_nothing_is_said_to_be_left_out(
    front: Callable[..., subprocess.CompletedProcess[str]], tmp_path: Path
) -> None:
    """Control: the same clone with packages; what they find fails, even where they may be left out."""
    done = front(node="true", npm=_GETS_THEM)
    assert (done.returncode, done.stdout.split(), done.stderr) == (0, ["eslint", "prettier"], "")
    (tmp_path / "clone" / "wrong").touch()
    assert front("--may-skip").returncode == 1

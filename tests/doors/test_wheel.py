"""The wheel, by itself: built without a network, put in a place of its own, run far from the checkout."""

from __future__ import annotations

import http.cookiejar
import os
import re
import subprocess
import sys
import urllib.request
from importlib.util import find_spec
from pathlib import Path
from typing import Final
from zipfile import ZipFile

import pytest

from canebench import __version__

_ROOT: Final = Path(__file__).parents[2]
_SRC: Final = _ROOT / "src"
_WAIT_S: Final = 120.0
pytestmark = pytest.mark.skipif(
    find_spec("hatchling") is None, reason="the build backend is not here: scripts/setup test brings it"
)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dist")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    done = subprocess.run(command, cwd=_ROOT, capture_output=True, text=True, timeout=_WAIT_S, check=False)
    assert done.returncode == 0, done.stderr
    (made,) = folder.glob("canebench-*.whl")
    return made


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Only the wheel; what it needs is what the tests run on."""
    site = tmp_path_factory.mktemp("site")
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-index", "--no-deps"]
    command = [*pip, "--disable-pip-version-check", "--target", str(site), str(wheel)]
    subprocess.run(command, check=True, capture_output=True, timeout=_WAIT_S)
    return site


def _apart(site: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(site), "PYTHONDONTWRITEBYTECODE": "1"}


def _run(site: Path, folder: Path, *arguments: str) -> str:
    done = subprocess.run(
        [str(site / "bin" / "canebench"), *arguments],
        cwd=folder,
        env=_apart(site),
        capture_output=True,
        text=True,
        timeout=_WAIT_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def _left_out(names: set[str]) -> list[str]:
    """What of the package's files is not among these."""
    ours = {path.relative_to(_SRC).as_posix() for path in (_SRC / "canebench").rglob("*") if path.is_file()}
    return sorted(one for one in ours - names if "__pycache__" not in one)


def test_every_file_of_the_package_is_in_it(wheel: Path) -> None:
    with ZipFile(wheel) as held:
        names = set(held.namelist())
    assert _left_out(names) == []
    # The control: one template less is noticed.
    assert _left_out(names - {"canebench/web/templates/home.html"}) == ["canebench/web/templates/home.html"]


def test_it_runs_without_the_checkout(installed: Path, tmp_path: Path) -> None:
    code = "import canebench; print(canebench.__file__)"
    where = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        env=_apart(installed),
        capture_output=True,
        text=True,
        check=True,
    )
    assert Path(where.stdout.strip()).is_relative_to(installed)
    assert __version__ in _run(installed, tmp_path, "--version")
    assert "Tilt" in _run(installed, tmp_path, "measure", "--demo")
    ledger = ("--ledger", "own.db")
    _run(installed, tmp_path, "lot", "spring", "--count", "2", "--new", *ledger)
    for paper in (("card", "1"), ("labels",)):
        _run(installed, tmp_path, *paper, "--out", "made.pdf", *ledger)
        assert (tmp_path / "made.pdf").read_bytes().startswith(b"%PDF")


def test_its_page_comes_with_all_that_it_asks_for(installed: Path, tmp_path: Path) -> None:
    command = [str(installed / "bin" / "canebench"), "demo", "try", "--serve", "--no-browser"]
    with subprocess.Popen(
        command, cwd=tmp_path, env=_apart(installed), stdout=subprocess.PIPE, text=True
    ) as server:
        assert server.stdout is not None
        try:
            link = next((line.strip() for line in server.stdout if line.startswith("http")), "")
            assert link, "the server did not start"
            jar = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
            browser = urllib.request.build_opener(jar)
            with browser.open(link, timeout=_WAIT_S) as answer:
                page = answer.read().decode()
            assert "Invented season" in page
            wanted = re.findall(r'(?:href|src)="(/static/[^"]+)"', page)
            assert len(wanted) > 10
            address = link.partition("/enter")[0]
            for path in wanted:
                with browser.open(address + path, timeout=_WAIT_S) as answer:
                    assert answer.read()
        finally:
            server.terminate()
            server.wait(timeout=_WAIT_S)

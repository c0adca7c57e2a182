"""What a file or a ledger says never becomes a path to somewhere else."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.base.disk.inside import inside
from canebench.base.errors import InputError
from canebench.bench.views.browse_takes import take_page
from canebench.store.ledger import open_ledger
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

RIGHT = "0123456789abcdef" * 4
#: Each names the secret below from the folder of takes, or is near a digest without being one.
WRONG = ["../elsewhere/secret", "../takes/../elsewhere/secret", RIGHT.upper(), RIGHT[1:], RIGHT + "\n", ""]


@pytest.fixture
def takes(tmp_path: Path) -> Path:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "secret.flac").write_bytes(b"fLaC nobody's business")
    (tmp_path / "takes").mkdir()
    (tmp_path / "takes" / f"{RIGHT}.flac").write_bytes(b"fLaC a take")
    return tmp_path / "takes"


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    open_ledger(str(tmp_path / "ledger.db"))
    return tmp_path / "ledger.db"


def _brought_in(ledger: Path, name: str) -> int:
    path = ledger.with_name("takes.csv")
    header = "at,origin,source,scale,reference,recording_sha256"
    path.write_text(f'{header}\n2026-03-02T19:00:00Z,x.wav,recording,just,low-a,"{name}"\n')
    return run("import", str(path), "--yes", "--ledger", str(ledger)).exit_code


@pytest.mark.parametrize("name", WRONG[:-2])
def test_an_import_takes_no_path_for_a_digest(ledger: Path, name: str) -> None:
    assert _brought_in(ledger, name) == 4


def test_control_a_digest_comes_in(ledger: Path) -> None:
    assert _brought_in(ledger, RIGHT) == 0


@pytest.mark.parametrize("name", [RIGHT, *WRONG, f"{'/'.join(['..'] * 9)}/etc/secret"])
def test_a_ledger_that_holds_a_path_serves_nothing_by_it(ledger: Path, takes: Path, name: str) -> None:
    """Such as an earlier version let in. The control is the digest, whose recording is found."""
    if "secret" in name and "etc" not in name:
        # It would be found: without this, the test could not fail.
        assert (takes / f"{name}.flac").is_file()
    opened = open_ledger(str(ledger))
    with opened.act("fit", who="A", said="x") as act:
        told = {"origin": "x.wav", "scale": "just", "reference": "low-a", "source": "recording"}
        take = act.insert("takes", {**told, "at": act.at})
    with opened.database.write() as connection:
        connection.run("UPDATE takes SET recording_sha256 = ? WHERE id = ?", [name, take])
    found = take_page(opened, take, takes).recording
    assert found == (takes / f"{RIGHT}.flac" if name == RIGHT else None)


@pytest.mark.parametrize(
    "name", ["", ".", "..", "a/b", "/a", "../a", "a/..", "a\\b", "..\\a", "C:a", "C:\\a", "a\x00b", "a/"]
)
def test_only_a_plain_name_lies_inside(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="plain name"):
        inside(tmp_path, name)


@pytest.mark.parametrize("name", ["a", ".a", "..a", "a b.flac", "é#?%", f"{RIGHT}.flac"])
def test_control_a_plain_name_does(tmp_path: Path, name: str) -> None:
    assert inside(tmp_path, name) == tmp_path / name

"""export and import as commands: there and back, looked over first, all or nothing."""

from __future__ import annotations

import json
import os
import pty
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from canebench.store.ledger import open_ledger
from canebench.store.tables import TABLES
from doors.run import run
from doors.schema_check import faults
from support.ledgers import dump_of

if TYPE_CHECKING:
    from canebench.store.tables import Row


_SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "ledger.schema.json").read_text())


@pytest.fixture
def ledger(season: Path, tmp_path: Path) -> Path:
    shutil.copyfile(season / "ledger.db", tmp_path / "ledger.db")
    return tmp_path / "ledger.db"


def rows_of(path: Path) -> dict[str, list[Row]]:
    dump = dump_of(open_ledger(str(path)))
    return {name: [row for row in dump[name] if row["removed_at"] is None] for name in TABLES}


@pytest.mark.parametrize("name", ["all.json", "all.xlsx", "csv", "parquet"])
def test_everything_there_and_back(ledger: Path, tmp_path: Path, name: str) -> None:
    out = tmp_path / name
    form = () if "." in name else ("--format", name)
    assert run("export", "--to", str(out), *form, "--ledger", str(ledger)).exit_code == 0
    new = tmp_path / "new.db"
    done = run("import", str(out), "--keep-ids", "--yes", "--json", "--ledger", str(new), "--new")
    assert done.exit_code == 0
    assert json.loads(done.stdout)["written"] == sum(len(rows) for rows in rows_of(ledger).values())
    assert rows_of(new) == rows_of(ledger)
    again = run("import", str(out), "--keep-ids", "--yes", "--json", "--ledger", str(new))
    assert json.loads(again.stdout) == {"act": None, "written": 0}


def test_everything_as_json_is_what_its_schema_says(ledger: Path, tmp_path: Path) -> None:
    run("export", "--to", str(tmp_path / "all.json"), "--ledger", str(ledger))
    whole = json.loads((tmp_path / "all.json").read_text())
    assert faults(whole, _SCHEMA) == []
    # The control: a time in another zone.
    whole["tables"]["reeds"]["rows"][0]["state_since"] = "2026-03-02T20:00:00.000+01:00"
    assert len(faults(whole, _SCHEMA)) == 1


def test_one_table_into_a_ledger_that_has_others(ledger: Path, tmp_path: Path) -> None:
    out = tmp_path / "lots.csv"
    run("export", "lots", "--to", str(out), "--ledger", str(ledger))
    text = out.read_text().replace("spring", "autumn")
    out.write_text(text)
    looked = run("import", str(out), "--preview", "--json", "--ledger", str(ledger))
    assert json.loads(looked.stdout)["lots"]["fitting"] == 1
    assert json.loads(looked.stdout)["lots"]["duplicates"] == 2
    before = rows_of(ledger)
    done = run("import", str(out), "--yes", "--ledger", str(ledger))
    assert "1 row came in" in done.stdout
    assert run("undo", "--ledger", str(ledger)).exit_code == 0
    assert rows_of(ledger) == before


def test_looking_changes_nothing_and_says_what_is_amiss(ledger: Path, tmp_path: Path) -> None:
    path = tmp_path / "plays.csv"
    path.write_text("reed,at,minutes\n1,2026-03-02,ten\n999,2026-03-02,5\n2,2026-03-02,5\n")
    rows_before = rows_of(ledger)
    before = ledger.read_bytes()
    looked = run("import", str(path), "--preview", "--ledger", str(ledger))
    assert looked.exit_code == 0
    assert ledger.read_bytes() == before
    assert "row 2, minutes" in " ".join(looked.stdout.split())
    assert "row 3, reed" in " ".join(looked.stdout.split())
    assert "3 times say no zone" in " ".join(looked.stdout.split())
    refused = run("import", str(path), "--yes", "--ledger", str(ledger))
    assert refused.exit_code == 4
    assert rows_of(ledger) == rows_before
    assert "all rows fit or none is written" in refused.stderr


def test_it_asks_first(ledger: Path, tmp_path: Path) -> None:
    path = tmp_path / "players.csv"
    path.write_text("name\nEffie Garrow the younger\n")
    before = rows_of(ledger)
    asked = run("import", str(path), "--ledger", str(ledger))
    assert asked.exit_code == 130
    assert rows_of(ledger) == before


def test_a_file_that_is_refused_is_not_asked_about(ledger: Path, tmp_path: Path) -> None:
    """Nor is a snapshot kept for it: that would push an older one out."""
    path = tmp_path / "players.csv"
    path.write_text("name\nEffie Garrow the younger\nEffie Garrow the younger\n")
    refused = run("import", str(path), "--refuse-duplicates", "--ledger", str(ledger))
    assert refused.exit_code == 4
    assert "Bring them in?" not in refused.stderr
    assert not (tmp_path / "snapshots").exists()
    mixed = run("import", str(path), "--json", "--ledger", str(ledger))
    assert mixed.exit_code == 2
    assert mixed.stdout == ""


def test_headers_are_mapped(ledger: Path, tmp_path: Path) -> None:
    path = tmp_path / "box.csv"
    path.write_text("Nr;Zustand;Notes\nX1;new;a\nX2;new;b\n")
    mapped: tuple[str, ...] = ("--map", "Nr=number", "--map", "Zustand=state", "--map", "Notes=")
    looked = run("import", str(path), "--table", "reeds", *mapped, "--preview", "--ledger", str(ledger))
    assert "2 rows do not tell since when their state is: it is taken to be so since now" in " ".join(
        looked.stdout.split()
    )
    path.write_text("Nr;Zustand;since;Notes\nX1;new;2026-03-02;a\nX2;new;2026-03-02;b\n")
    mapped = (*mapped, "--map", "since=state_since")
    done = run("import", str(path), "--table", "reeds", *mapped, "--yes", "--ledger", str(ledger))
    assert done.exit_code == 0
    assert [row["number"] for row in rows_of(ledger)["reeds"]][-2:] == ["X1", "X2"]


def test_nothing_is_written_over(ledger: Path, tmp_path: Path) -> None:
    out = tmp_path / "reeds.csv"
    out.write_text("mine")
    refused = run("export", "reeds", "--to", str(out), "--ledger", str(ledger))
    assert refused.exit_code == 4
    assert "--force" in refused.stderr
    assert out.read_text() == "mine"
    assert run("export", "reeds", "--to", str(out), "--force", "--ledger", str(ledger)).exit_code == 0
    assert out.read_text().startswith("id,version,number")
    nowhere = str(tmp_path / "none" / "reeds.csv")
    assert run("export", "reeds", "--to", nowhere, "--ledger", str(ledger)).exit_code == 5


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("export", "reed", "--to", "x.csv"), "reeds"),
        (("export", "reeds", "--to", "x.doc"), "csv, json, parquet, xlsx"),
        (("import", "none.csv", "--table", "reeds"), "There is no file"),
        (("import", "none.csv"), "one of lots"),
    ],
)
def test_errors_name_what_would_do(
    ledger: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    refused = run(*arguments, "--ledger", str(ledger))
    assert refused.exit_code in (4, 5)
    assert said in " ".join(refused.stderr.split())


def test_a_snapshot_is_kept_before(ledger: Path, tmp_path: Path) -> None:
    path = tmp_path / "players.csv"
    path.write_text("name\nEffie Garrow the younger\n")
    before = rows_of(ledger)
    run("import", str(path), "--yes", "--ledger", str(ledger))
    (kept,) = (tmp_path / "snapshots").iterdir()
    assert run("restore", str(kept), "--yes", "--ledger", str(ledger)).exit_code == 0
    assert rows_of(ledger) == before


#: The command with batches so small that its bar says more than an unread terminal takes: it cannot come to
#: its end before it is interrupted. Whoever begins the tests in the background has interrupts ignored, and
#: children inherit that; on a terminal they are not.
_TALKATIVE = """
import signal
from canebench.cli.main import main
from canebench.store.exchange import going_over
signal.signal(signal.SIGINT, signal.default_int_handler)
going_over._BATCH = 10
main()
"""


def test_a_bar_on_a_terminal_and_ctrl_c_changes_nothing(ledger: Path, tmp_path: Path) -> None:
    """A real terminal, a real interrupt in the middle."""
    path = tmp_path / "plays.csv"
    rows = (f"1,2026-03-02T19:00:00Z,{1 + n / 1000}\n" for n in range(6_000))
    path.write_text("reed,at,minutes\n" + "".join(rows))
    before = rows_of(ledger)
    ours, theirs = pty.openpty()
    command = [sys.executable, "-c", _TALKATIVE, "import", str(path), "--yes", "--ledger", str(ledger)]
    with subprocess.Popen(command, stderr=theirs, stdout=subprocess.PIPE) as child:
        os.close(theirs)
        seen = b""
        while not re.search(rb"Bringing in .*[1-9]\d*/", seen):
            seen += os.read(ours, 256)
        child.send_signal(signal.SIGINT)
        try:
            while part := os.read(ours, 4096):
                seen += part
        except OSError:
            # The terminal's other end is gone.
            pass
    os.close(ours)
    assert child.returncode == 130
    assert b"stopped" in seen
    assert rows_of(ledger) == before
    done = max(int(number) for number in re.findall(rb"(\d+)/", seen))
    assert 0 < done < 6_000

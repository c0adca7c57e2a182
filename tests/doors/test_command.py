"""The command as a whole: help, typing errors, exit codes, and how long its help takes."""

from __future__ import annotations

import json
import re
import resource
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import click
import pytest

from canebench import __version__
from canebench.cli.main import COMMANDS, Doors, cli
from doors.run import run

ROOT = Path(__file__).parents[2]
CANEBENCH = str(Path(sys.executable).with_name("canebench"))


def in_a_process(*arguments: str, **settings: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [CANEBENCH, *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env=settings or None,
    )


def command(name: str) -> click.Command:
    found: click.Command = import_module(Doors.module_of(name)).command
    return found


def test_no_arguments_give_short_help_with_three_examples() -> None:
    result = run()
    assert result.exit_code == 0
    assert result.stdout.count("  canebench ") == 3
    assert "--help" in result.stdout


@pytest.mark.parametrize("flag", ["-h", "--help"])
def test_help(flag: str) -> None:
    result = run(flag)
    assert result.exit_code == 0
    for name, line in COMMANDS.items():
        assert name in result.stdout
        assert line.split(maxsplit=1)[0] in result.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_help_and_the_line_in_the_list_is_its_own(name: str) -> None:
    result = run(name, "-h")
    assert result.exit_code == 0
    assert command(name).short_help == COMMANDS[name]
    assert command(name).name == name
    for parameter in command(name).params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"{parameter.name} has no help"


def test_version() -> None:
    result = run("--version")
    assert (result.exit_code, result.stdout) == (0, f"canebench, version {__version__}\n")


@pytest.mark.parametrize(
    ("arguments", "hint"),
    [
        (["mesure"], "'measure'"),
        (["synht"], "'synth'"),
        (["measure", "--demoo"], "'--demo'"),
        (["measure", "--demo", "--reference", "dornes"], "'drones'"),
    ],
)
def test_typing_errors_are_usage_and_name_the_nearest(arguments: list[str], hint: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Did you mean" in result.stderr
    assert hint in result.stderr


@pytest.mark.parametrize(
    "arguments", [["measure"], ["measure", "--demo", "take.wav"], ["measure", "a", "b"], ["synth"], ["qqqqq"]]
)
def test_usage_errors(arguments: list[str]) -> None:
    assert run(*arguments).exit_code == 2


def test_errors_under_json_are_json_on_stderr() -> None:
    result = run("measure", "--json", "--demoo")
    assert result.exit_code == 2
    assert result.stdout == ""
    error = json.loads(result.stderr)
    assert error["ok"] is False
    assert set(error["error"]) == {"code", "message", "hint"}
    assert error["error"]["code"] == "usage"


def test_a_real_process_ends_with_the_code_and_no_traceback(tmp_path: Path) -> None:
    gone = in_a_process("measure", str(tmp_path / "no-such-take.wav"), "--json")
    assert gone.returncode == 5
    assert gone.stdout == ""
    assert json.loads(gone.stderr)["error"]["code"] == "not-found"
    text = tmp_path / "words.wav"
    text.write_text("not a sound", encoding="utf-8")
    spoilt = in_a_process("measure", str(text))
    assert spoilt.returncode == 4
    assert "Traceback" not in spoilt.stderr
    assert spoilt.stderr.startswith("canebench: ")


def test_a_terminal_without_unicode_is_served() -> None:
    result = in_a_process("scales", PYTHONIOENCODING="ascii", LC_ALL="C")
    assert result.returncode == 0
    assert "harmonic" in result.stdout
    assert result.stdout.isascii()


def test_cancelling_is_130(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop() -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("canebench.bench.views.list_scales.list_scales", stop)
    result = run("scales")
    assert result.exit_code == 130
    assert "stopped" in result.stderr


def test_help_takes_no_numerics_and_little_time() -> None:
    """The gate is 0.2 s CPU; the smallest of three is taken because a shared machine is noisy."""
    code = (
        "import sys; from canebench.cli.main import cli\n"
        "try: cli.main(['--help'])\nexcept SystemExit: pass\n"
        "sys.exit('numpy' in sys.modules or 'av' in sys.modules)"
    )
    used = []
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, timeout=60)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    assert min(used) <= 0.2


def test_control_numerics_would_be_noticed() -> None:
    code = "import numpy, sys; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=60).returncode == 1


# ------------------------------------------------------------------ documentation


def undocumented(page: str) -> list[str]:
    """Commands and options that `page` does not mention, each in its own section."""
    missing = []
    for name in COMMANDS:
        _, found, section = page.partition(f"\n## canebench {name}\n")
        section = section.partition("\n## ")[0]
        if not found:
            missing.append(name)
        for parameter in command(name).params:
            option = isinstance(parameter, click.Option)
            flag = parameter.opts[0] if option else (parameter.name or "").upper()
            if not re.search(rf"`{flag}[ `]", section):
                missing.append(f"{name} {flag}")
    return missing


def test_every_command_and_option_is_documented() -> None:
    assert undocumented((ROOT / "docs" / "commands.md").read_text("utf-8")) == []


def test_control_an_undocumented_option_is_noticed() -> None:
    page = (ROOT / "docs" / "commands.md").read_text("utf-8")
    assert undocumented(page.replace("`--svg", "`--svgg")) == ["measure --svg", "plan --svg"]
    assert "scales" in undocumented(page.replace("\n## canebench scales\n", "\n## scales\n"))


def test_every_exit_code_is_documented() -> None:
    page = (ROOT / "docs" / "commands.md").read_text("utf-8")
    for code in (0, 2, 4, 5, 6, 7, 8, 130):
        assert f"| {code} |" in page
        assert str(code) in (cli.epilog or "")

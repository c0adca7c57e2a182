"""Every number that a command takes is read in the one way: decimal comma, true minus, nothing endless."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click
import pytest

from canebench.cli.main import COMMANDS, cli
from canebench.cli.options.numbers import COUNT, NUMBER, Count
from canebench.cli.options.reference import reference_from
from canebench.cli.options.setting_options import tape_from
from canebench.cli.reeds.fit import typed_from
from canebench.cli.takes.measure import reference_from as measured_from
from canebench.cli.takes.synth import offsets_from

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

_CONTEXT = click.Context(cli)


def _parameters() -> dict[str, click.Parameter]:
    found: dict[str, click.Parameter] = {}
    for name in COMMANDS:
        command = cli.get_command(_CONTEXT, name)
        assert command is not None
        found |= {f"{name} {parameter.opts[0]}": parameter for parameter in command.params}
    return found


def _read_otherwise(parameters: Iterable[click.Parameter]) -> list[str]:
    """Numbers that click reads in its own way; a range of its own is one of these too."""
    own = (click.types.IntParamType, click.types.FloatParamType)
    return [parameter.opts[0] for parameter in parameters if isinstance(parameter.type, own)]


def _converted(parameter: click.Parameter, text: str) -> Any:
    return parameter.type.convert(text, parameter, _CONTEXT)


def test_no_option_reads_a_number_in_another_way() -> None:
    parameters = _parameters()
    assert _read_otherwise(parameters.values()) == []
    numbers = [name for name, one in parameters.items() if one.type is NUMBER]
    assert {"plan --deeper", "plan --higher", "fit --seat", "synth --hold", "care --level"} <= set(numbers)
    assert len(numbers) > 30


def test_a_number_read_otherwise_is_noticed() -> None:
    """Control: given as a type, as a range, or told by its default."""
    options = [
        click.Option(["--a"], type=float),
        click.Option(["--b"], type=click.IntRange(1, 3)),
        click.Option(["--c"], default=5),
        click.Option(["--d"], type=NUMBER, default=5.0),
        click.Option(["--e"], type=COUNT),
        click.Option(["--f"]),
    ]
    assert _read_otherwise(options) == ["--a", "--b", "--c"]


@pytest.mark.parametrize("text", ["-1.5", "-1,5", "\u22121,5", " -1.5 "])
def test_comma_and_true_minus_are_read(text: str) -> None:
    for parameter in _parameters().values():
        if parameter.type is NUMBER:
            assert _converted(parameter, text) == -1.5


@pytest.mark.parametrize("text", ["nan", "inf", "deep", "", "1.2.3"])
def test_what_is_no_number_is_a_usage_error(text: str) -> None:
    for parameter in _parameters().values():
        if parameter.type is NUMBER or isinstance(parameter.type, Count):
            with pytest.raises(click.BadParameter, match=r"a number is needed, like 1\.5"):
                _converted(parameter, text)


def test_counts_are_whole_and_within_their_bounds() -> None:
    parameters = _parameters()
    assert _converted(parameters["synth --seed"], "12345678901234567891") == 12345678901234567891
    assert _converted(parameters["plan --pinches-left"], "2,0") == 2
    with pytest.raises(click.BadParameter, match="'1,7': a whole number is needed"):
        _converted(parameters["plan --pinches-left"], "1,7")
    assert _converted(parameters["history --last"], "10000") == 10_000
    for outside in ("0", "10001", "\u22125"):
        with pytest.raises(click.BadParameter, match="1 to 10000 is allowed"):
            _converted(parameters["history --last"], outside)


_READ_FROM: dict[str, tuple[Callable[..., Any], Any, Any]] = {
    "reference": (reference_from, "478,2 Hz", 478.2),
    "a measured reference": (measured_from, "478,2Hz", 478.2),
    "tape": (tape_from, ("E=1,5", "high A=2,25 mm"), {"E": 1.5, "high A": 2.25}),
    "typed": (typed_from, ("low A=478,2", "E=\u22123c"), {"low A": (478.2, "Hz"), "E": (-3.0, "cents")}),
    "off": (offsets_from, ("high A=\u22129,5",), {"high A": -9.5}),
}


@pytest.mark.parametrize("name", _READ_FROM)
def test_numbers_within_words_are_read_alike(name: str) -> None:
    read, given, wanted = _READ_FROM[name]
    parameter = click.Option([f"--{name.rsplit(maxsplit=1)[-1]}"])
    assert read(_CONTEXT, parameter, given) == wanted
    # The control: the same with an endless number is refused.
    endless = "inf" if isinstance(given, str) else ("E=inf",)
    with pytest.raises(click.BadParameter):
        read(_CONTEXT, parameter, endless)

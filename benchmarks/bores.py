"""Our bore model beside openwind's finite elements: random bores, nine fingerings, one air; then speed.

Run by `benchmarks/run`; every time is CPU time of one core (BLAS on one thread). Both compute the same
equations, so what parts them is discretization; the figures asked are those of the project.
"""

from __future__ import annotations

import argparse
import statistics
import time
import warnings
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.units import hz_to_cents
from canebench.bore.assembly import assemble
from canebench.bore.resonance import resonances_hz
from support.bores import shares
from support.finite_elements import (
    COMPARED_HZ,
    GRID_HZ,
    TEMPERATURE_DEGC,
    FiniteElements,
    away_from_extrema,
    fingerings,
    holes,
    main_bore,
    medium,
    note_label,
    openwind,
    our_impedance,
    without_reed,
)
from support.random_bores import RandomBore, random_bore

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from canebench.base.arrays import FloatArray
    from canebench.bore.losses import Medium

#: From here a difference is listed, cents.
_LISTED_CENTS = 1.0
_WARM_CENTS = 10.0
_REPEATS = 25
_DOCUMENTED_HZ = np.arange(200, 1301, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A fingering of a bore, alone or with its reed: the resonance that speaks, by either way, Hz."""

    name: str
    ours_hz: float
    theirs_hz: float

    @property
    def apart_cents(self) -> float:
        """How far the two are apart."""
        return abs(hz_to_cents(self.ours_hz, self.theirs_hz))


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """All cases of a bore, and the differences of |Z| away from its extrema, per cent."""

    alone: list[Case]
    played: list[Case]
    size_percent: FloatArray


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bores", type=int, default=48, help="random bores to compare (default 48)")
    parser.add_argument("--timed", type=int, default=3, help="bores whose speed is measured (default 3)")
    args = parser.parse_args()
    air = medium()
    _agreement([_compare(seed, air) for seed in range(args.bores)])
    _speed([random_bore(seed) for seed in range(args.timed)], air)


def _compare(seed: int, air: Medium) -> Comparison:
    bore = random_bore(seed)
    network = assemble(bore.chanter, bore.reed, air)
    elements = FiniteElements(bore)
    open_share, gap_m = shares(network), np.full(len(NOTES), bore.gap_m)
    ours = {
        0.0: resonances_hz(without_reed(network), open_share, gap_m),
        float(network.volume_m3 / air.stiffness_pa): resonances_hz(network, open_share, gap_m),
    }
    cases: dict[float, list[Case]] = {added: [] for added in ours}
    sizes = []
    for number, note in enumerate(NOTES):
        theirs = elements.impedance(note, GRID_HZ)
        away = away_from_extrema(theirs)
        mine = our_impedance(network, open_share[number], bore.gap_m)
        sizes.append(100 * np.abs(np.abs(mine[away] / theirs[away]) - 1))
        for added, found_hz in ours.items():
            true_hz = elements.resonance_hz(note, theirs, compliance_m3_pa=added)
            cases[added].append(
                Case(name=f"bore {seed}, {note}", ours_hz=float(found_hz[number]), theirs_hz=true_hz)
            )
    alone, played = cases.values()
    return Comparison(alone=alone, played=played, size_percent=np.concatenate(sizes))


def _agreement(found: list[Comparison]) -> None:
    fingered = f"{len(found)} random bores x {len(NOTES)} fingerings"
    for what, cases in (
        ("resonances, bore alone", [case for one in found for case in one.alone]),
        ("resonances, with its reed", [case for one in found for case in one.played]),
    ):
        apart = [case.apart_cents for case in cases]
        far = [case for case in cases if not case.apart_cents <= _LISTED_CENTS]
        _report(
            what,
            f"median {np.median(apart):.4f}, worst {np.max(apart):.4f} cent",
            "at most 0.1 and 1 cent",
        )
        for case in far:
            print(f"    {case.name}: {case.ours_hz:.2f} Hz here, {case.theirs_hz:.2f} Hz by finite elements")
    size = np.concatenate([one.size_percent for one in found])
    _report(
        "impedance |Z|, away from extrema",
        f"99th percentile {np.percentile(size, 99):.3f} %, worst {size.max():.3f} %",
        "at most 1 %",
    )
    low, high = COMPARED_HZ
    print(f"    {fingered}; away: at least 2 % from every extremum of |Z|, {low:g} to {high:g} Hz")


def _speed(bores: list[RandomBore], air: Medium) -> None:
    """Nine notes of a bore without its reed, from its sizes to nine frequencies."""
    print(f"    nine notes of a bore alone, from sizes to frequencies; median of {len(bores)} bores")
    begun = [(bore, _starts_hz(bore, air)) for bore in bores]
    ours_s = _median_s([partial(_ours, bore, air, start_hz) for bore, start_hz in begun], _REPEATS)
    _report("here, from starts within 10 cents", f"{1e3 * ours_s:.2f} ms", "at most 3 ms")
    for what, method, asked in (
        ("openwind, same starts, same tolerance", "FEM", "at least 150x"),
        ("the same by its transfer matrices", "TMM", "-"),
    ):
        theirs_s = _median_s([partial(_followed, bore, start_hz, method) for bore, start_hz in begun])
        apart = max(
            _apart_cents(_followed(bore, start_hz, method), _ours(bore, air, start_hz))
            for bore, start_hz in begun
        )
        _report(what, f"{theirs_s:.2f} s: {theirs_s / ours_s:.0f}x, {apart:.3f} cent apart", asked)
    scan_s = _median_s([partial(_ours, bore, air, None) for bore in bores], _REPEATS)
    _report("here, searched from 150 to 1600 Hz", f"{1e3 * scan_s:.1f} ms", "-")
    for what, act in (
        ("openwind, the same search", _searched),
        ("openwind as documented, set_note", _documented),
        ("openwind, an object for each note", _documented_apiece),
    ):
        theirs_s = _median_s([partial(act, bore) for bore in bores])
        _report(what, f"{theirs_s:.2f} s: {theirs_s / scan_s:.0f}x", "-")
    low, high = _DOCUMENTED_HZ[[0, -1]]
    print(f"    both go by secants until a step is below 1e-6; as documented: {low:g} to {high:g} Hz by 1 Hz")


def _median_s(acts: Sequence[Callable[[], object]], repeats: int = 1) -> float:
    """CPU seconds of an act, in the middle of some."""
    return statistics.median(statistics.median(_cpu_s(act) for _ in range(repeats)) for act in acts)


def _starts_hz(bore: RandomBore, air: Medium) -> FloatArray:
    """Within 10 cents of each note's resonance: both ways begin here."""
    offsets_cents = np.random.default_rng(0).uniform(-_WARM_CENTS, _WARM_CENTS, len(NOTES))
    return _ours(bore, air, None) * 2 ** (offsets_cents / 1200)


def _ours(bore: RandomBore, air: Medium, start_hz: FloatArray | None) -> FloatArray:
    """Nine resonances here, the network's assembly included."""
    network = without_reed(assemble(bore.chanter, bore.reed, air))
    return resonances_hz(network, shares(network), np.full(len(NOTES), bore.gap_m), start_hz=start_hz)


def _followed(bore: RandomBore, start_hz: FloatArray, method: str) -> list[float]:
    """Nine resonances by openwind from the same starts, its mesh included."""
    elements = FiniteElements(bore, method=method)
    return [elements.followed_hz(note, float(hz)) for note, hz in zip(NOTES, start_hz, strict=True)]


def _searched(bore: RandomBore) -> list[float]:
    elements = FiniteElements(bore)
    return [elements.searched_hz(note) for note in NOTES]


def _apart_cents(theirs_hz: list[float], ours_hz: FloatArray) -> float:
    return max(abs(hz_to_cents(float(one), other)) for one, other in zip(ours_hz, theirs_hz, strict=True))


def _documented(bore: RandomBore) -> list[float]:
    """Nine first resonances as its documentation shows: the fingering is set on one object."""
    first, *others = map(note_label, NOTES)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = _computed(bore, first)
        found = [result.resonance_frequencies()[0]]
        for note in others:
            result.set_note(note)
            found.append(result.resonance_frequencies()[0])
    return found


def _documented_apiece(bore: RandomBore) -> list[float]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return [_computed(bore, note_label(note)).resonance_frequencies()[0] for note in NOTES]


def _computed(bore: RandomBore, note: str) -> Any:
    return openwind().ImpedanceComputation(
        _DOCUMENTED_HZ,
        main_bore(bore),
        holes(bore),
        fingerings(),
        note=note,
        temperature=TEMPERATURE_DEGC,
        discontinuity_mass=bore.chanter.step_masses,
    )


def _cpu_s(act: Callable[[], object]) -> float:
    start = time.process_time()
    act()
    return time.process_time() - start


def _report(what: str, figure: str, asked: str) -> None:
    print(f"{what:38s} {figure:44s} asked: {asked}", flush=True)


if __name__ == "__main__":
    main()

"""Pitch by resonance and by the balance of reactive power, beside a reed that is simulated blowing the bore.

Random bores, nine fingerings each, with reeds drawn wide (`support.reactive_balance.MassReed`), blown 1.1 to
1.6 times as hard as where they begin to sound; then with the reed half a millimetre deeper, and with 1.5 mm
of tape on the note's own hole. Counted is what plays its own register at one pitch. Run by `benchmarks/run`.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from support.blown_chanters import DEEPER_MM, SETTINGS, BlownChanter, blown_chanter, harder
from support.blown_reed import fitted_admittance, played
from support.bores import SPEED_M_S
from support.modal_bore import fitted

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, FloatArray

_HARMONICS: Final = 8
#: By how much a microphone in a room misses a harmonic, dB.
_ROOM_DB: Final = 3.0
#: How well a hole's diameter is known, as a share.
_HOLES_KNOWN: Final = 0.05


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bores", type=int, default=24, help="random bores (default 24)")
    args = parser.parse_args()
    rng = np.random.default_rng(7)
    chanters = [blown_chanter(seed, rng) for seed in range(200, 200 + args.bores)]
    modes = fitted(np.concatenate([1 / fitted_admittance(one.blown) for one in chanters]), alike=SETTINGS)
    near_hz, mouth_pa = (
        np.concatenate([getattr(one, name) for one in chanters]) for name in ("onset_hz", "mouth_pa")
    )
    sound = played(modes, [one.blown for one in chanters], mouth_pa, near_hz, harmonics=_HARMONICS)
    shape = (len(chanters), len(NOTES), SETTINGS)
    heard_hz, steady = sound.hz.reshape(shape), sound.steady.reshape(shape)
    pressures = sound.pressures.reshape(*shape, _HARMONICS)
    found = _predicted(chanters, heard_hz, pressures, steady[..., 0], rng)
    _pitches(found, heard_hz[..., 0], steady[..., 0])
    _moves(found, heard_hz, steady)
    _strengths(chanters)


def _predicted(
    chanters: list[BlownChanter],
    heard_hz: FloatArray,
    pressures: FloatArray,
    steady: BoolArray,
    rng: np.random.Generator,
) -> dict[str, FloatArray]:
    """Pitches (bores, notes, settings) by each way."""
    shape = heard_hz.shape
    bare = pressures[:, :, 0]
    with np.errstate(divide="ignore"):
        levels = np.where(steady[..., None], np.log(bare / bare[..., :1]), np.nan)
    found: dict[str, list[FloatArray]] = {}
    for number, one in enumerate(chanters):
        others = np.exp(np.nanmedian(np.delete(levels, number, axis=0), axis=0))
        ways = {"resonance": one.resonance_hz, "onset": one.onset_hz}
        for way, spectrum in (
            ("balance", bare[number]),
            ("as a take has it", _taken(one, bare[number], heard_hz[number, :, 0], rng)),
            ("of other bores", others),
        ):
            own = np.repeat(spectrum, SETTINGS, axis=0)
            ways[way] = one.blown.playing_hz(own, one.share, one.resonance_hz)
        own = np.repeat(bare[number], SETTINGS, axis=0)
        ways["without the lag"] = one.blown.playing_hz(own, 0 * one.share, one.resonance_hz)
        ways["the flow held"] = _with_flows_held(one, own, ways["balance"])
        for way, hz in ways.items():
            found.setdefault(way, []).append(hz)
    return {way: np.array(rows).reshape(shape) for way, rows in found.items()}


def _taken(one: BlownChanter, bare: FloatArray, hz: FloatArray, rng: np.random.Generator) -> FloatArray:
    """The spectrum between the blades (9, N) from one heard outside, the holes being known roughly."""
    first = slice(None, None, SETTINGS)
    at = replace(one.blown, open_share=one.blown.open_share[first], gap_m=one.blown.gap_m[first])
    known_m = at.network.hole_m * np.exp(rng.normal(0.0, _HOLES_KNOWN, at.network.hole_m.size))
    known = replace(at, network=replace(at.network, hole_m=known_m))
    omega = 2 * np.pi * hz[:, None] * np.arange(1, _HARMONICS + 1)
    room = 10 ** (rng.normal(0.0, _ROOM_DB, bare.shape) / 20)
    return np.asarray(bare * room * at.heard_outside(omega) / known.heard_outside(omega))


def _with_flows_held(one: BlownChanter, pressures: FloatArray, balanced_hz: FloatArray) -> FloatArray:
    """Flows of the bare note, as its pressures make them at its pitch, in every setting."""
    bare_hz = np.repeat(balanced_hz[::SETTINGS], SETTINGS)
    known_hz = np.where(np.isnan(bare_hz), one.resonance_hz, bare_hz)
    flows = np.repeat(one.blown.flows(pressures, one.share, known_hz)[::SETTINGS], SETTINGS, axis=0)
    return one.blown.playing_with_flows_hz(flows, one.share, known_hz)


def _pitches(found: dict[str, FloatArray], heard_hz: FloatArray, steady: BoolArray) -> None:
    print(f"{steady.sum()} of {steady.size} notes of {len(steady)} bores play; simulated pitch above, cents")
    print(f"    {'':26s} {'median':>8s} {'middle 80 %':>16s} {'rms about the':>14s} {'not found':>10s}")
    print(f"    {'':26s} {'':>8s} {'':>16s} {'mean of a bore':>14s}")
    for way, hz in found.items():
        if way == "the flow held":
            continue
        off = np.where(steady, 1200 * np.log2(heard_hz / hz[..., 0]), np.nan)
        alone = off - np.nanmean(off, axis=1, keepdims=True)
        low, middle, high = np.nanpercentile(off, [10, 50, 90])
        rms = np.sqrt(np.nanmean(alone**2))
        lost = int((steady & np.isnan(hz[..., 0])).sum())
        print(f"    {way:26s} {middle:+8.1f} {low:+7.1f} to {high:+5.1f} {rms:14.1f} {lost:10d}")


def _moves(found: dict[str, FloatArray], heard_hz: FloatArray, steady: BoolArray) -> None:
    """How far half a millimetre of seat and a strip move each note, simulated and by each way."""
    length_m = SPEED_M_S / (2 * heard_hz[..., 0])
    shorter = -1200 * np.log2(1 - 1e-3 * DEEPER_MM / length_m)
    for setting, what, per in ((1, "seat, cents a mm", DEEPER_MM), (2, "tape of 1.5 mm, cents", 1.0)):
        both = steady[..., 0] & steady[..., setting]
        if setting == 2:
            both = both & np.isin(NOTES, HOLES)
        true = 1200 * np.log2(heard_hz[..., setting] / heard_hz[..., 0]) / per
        # A leap to another regime is no slope.
        both = both & (np.abs(true) < 60)
        ways = {way: 1200 * np.log2(hz[..., setting] / hz[..., 0]) / per for way, hz in found.items()}
        if setting == 1:
            ways["a shorter bore"] = shorter / per
            ways["half way, as in the plan"] = (shorter / per + ways["resonance"]) / 2
        middle = np.median(true[both])
        print(f"{what}: {both.sum()} notes, simulated {middle:+.1f} in the middle")
        print(f"    {'':26s} {'median':>8s} {'error: median size':>20s} {'90 %':>8s} {'not found':>10s}")
        for way, moved in ways.items():
            error = np.abs(np.where(both, moved - true, np.nan))
            lost = int((both & np.isnan(moved)).sum())
            middle = np.nanmedian(np.where(both, moved, np.nan))
            half, most = np.nanpercentile(error, [50, 90])
            print(f"    {way:26s} {middle:+8.1f} {half:20.2f} {most:8.1f} {lost:10d}")


def _strengths(chanters: list[BlownChanter]) -> None:
    """One reed gives strength and pitch: where notes begin, and what blades a fifth stiffer do to both."""
    onset, more, sharper = [], [], []
    for one in chanters:
        start_hz = one.resonance_hz[::SETTINGS]
        (soft_hz, soft_pa), (hard_hz, hard_pa) = (
            replace(blown, open_share=blown.open_share[::SETTINGS], gap_m=blown.gap_m[::SETTINGS]).threshold(
                start_hz
            )
            for blown in (one.blown, harder(one.blown, 1.2))
        )
        onset.append(soft_pa / one.blown.reed.closing_pa)
        more.append(100 * (hard_pa / soft_pa - 1))
        sharper.append(1200 * np.log2(hard_hz / soft_hz))
    low, middle, high = np.nanpercentile(onset, [10, 50, 90])
    print(f"where notes begin: {middle:.2f} of the closing pressure ({low:.2f} to {high:.2f})")
    lows, highs = (np.nanmedian(np.array(sharper)[:, NOTES.index(note)]) for note in (LOW_A, HIGH_A))
    print(f"blades a fifth stiffer: they begin {np.nanmedian(more):.0f} % later, and", end=" ")
    print(f"{lows:+.1f} (low A) to {highs:+.1f} (high A) cents sharper")


if __name__ == "__main__":
    main()

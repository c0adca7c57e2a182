"""Where a reed begins and at which pitch it plays, predicted in frequency, against one simulated in time."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.bore.network import scan
from support.blown_chanters import SETTINGS, BlownChanter, blown_chanter, harder
from support.blown_reed import Sound, fitted_admittance, played
from support.bores import DENSITY_KG_M3, LOSSLESS, SPEED_M_S, bare_bore, ideal_end
from support.modal_bore import FITTED_HZ, ModalBore, fitted
from support.reactive_balance import Blown, MassReed, crossing_hz

_SEEDS = (300, 301, 302, 303)


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulated:
    """A chanter's nine bare notes, as modes and as they sounded."""

    chanter: BlownChanter
    blown: Blown
    modes: ModalBore
    sound: Sound


def _bare(one: BlownChanter) -> Blown:
    blown = one.blown
    return replace(blown, open_share=blown.open_share[::SETTINGS], gap_m=blown.gap_m[::SETTINGS])


@pytest.fixture(scope="module")
def simulated() -> list[Simulated]:
    """All blown side by side: a step in time takes hardly longer for four than for one."""
    rng = np.random.default_rng(3)
    chanters = [blown_chanter(seed, rng) for seed in _SEEDS]
    bare = [_bare(one) for one in chanters]
    modes = fitted(1 / np.vstack([fitted_admittance(one) for one in bare]))
    mouth_pa = np.concatenate([one.mouth_pa[::SETTINGS] for one in chanters])
    onset_hz = np.concatenate([one.onset_hz[::SETTINGS] for one in chanters])
    sound = played(modes, bare, mouth_pa, onset_hz)
    found = []
    for index, (chanter, blown) in enumerate(zip(chanters, bare, strict=True)):
        rows = slice(index * len(NOTES), (index + 1) * len(NOTES))
        found.append(
            Simulated(
                chanter=chanter,
                blown=blown,
                modes=ModalBore(poles=modes.poles[rows], residues=modes.residues[rows]),
                sound=Sound(
                    hz=sound.hz[rows],
                    pressures=sound.pressures[rows],
                    size_pa=sound.size_pa[rows],
                    steady=sound.steady[rows],
                ),
            )
        )
    return found


def test_modes_resonate_where_the_bore_does(simulated: list[Simulated]) -> None:
    """Every first rise of Im Y within half a cent; control: of the next note they are a tone off."""
    hz = np.geomspace(200.0, 1500.0, 4000)
    one = simulated[0]
    bore = replace(one.blown.network, volume_m3=1e-9 * one.blown.reed.cavity_mm3)
    true = scan(bore, one.blown.open_share, one.blown.gap_m, 2 * np.pi * hz).imag
    modal = (1 / one.modes.impedance(2 * np.pi * hz)).imag
    first_true, first_modal = (np.array([_first_rise(hz, row) for row in values]) for values in (true, modal))
    apart = 1200 * np.log2(first_modal / first_true)
    assert np.abs(apart).max() < 0.5
    assert np.abs(1200 * np.log2(np.roll(first_modal, 1) / first_true)).min() > 20


def _first_rise(hz: np.ndarray, values: np.ndarray) -> float:
    at = int(np.flatnonzero((values[:-1] < 0) & (values[1:] >= 0))[0])
    return float(hz[at] - values[at] * (hz[at + 1] - hz[at]) / (values[at + 1] - values[at]))


def test_the_fit_is_passive(simulated: list[Simulated]) -> None:
    """A mode that gave power would sound by itself."""
    for one in simulated:
        assert np.all(one.modes.poles.real < 0)
        impedance = one.modes.impedance(2 * np.pi * FITTED_HZ)
        assert np.all(impedance.real.min(axis=1) > -0.01 * np.abs(impedance).max(axis=1))


def test_it_begins_where_the_linear_threshold_says(simulated: list[Simulated]) -> None:
    """Blown 7 % below it a note dies away, 7 % above it grows; a low one may speak before, an octave up."""
    one = simulated[0]
    hz, pressure_pa = one.blown.threshold(one.chanter.resonance_hz[::SETTINGS])
    assert np.all(np.isfinite(pressure_pa))
    below, above = (
        played(one.modes, [one.blown], share * pressure_pa, hz, lasts_s=0.24).size_pa
        for share in (0.93, 1.07)
    )
    assert (below[:, 1] < 0.5 * below[:, 0]).sum() >= 7
    assert ((above[:, 1] > 1.2 * above[:, 0]) | (above[:, 1] > 500.0)).sum() >= 7


def test_reactive_power_tells_the_pitch_better_than_resonance(simulated: list[Simulated]) -> None:
    """Of the notes that play steadily; control: one harmonic alone, or those of another note, do not."""
    off: dict[str, list[float]] = {}
    for one in simulated:
        start_hz, share = one.chanter.resonance_hz[::SETTINGS], one.chanter.share[::SETTINGS]
        spectra = {
            "balance": one.sound.pressures,
            "one harmonic": one.sound.pressures[:, :1],
            "another note's": np.roll(one.sound.pressures, 4, axis=0),
        }
        ways = {way: one.blown.playing_hz(spectrum, share, start_hz) for way, spectrum in spectra.items()}
        for way, hz in {"resonance": start_hz, **ways}.items():
            cents = np.nan_to_num(1200 * np.log2(hz / one.sound.hz), nan=300.0)
            off.setdefault(way, []).extend(np.abs(cents)[one.sound.steady].tolist())
    assert len(off["balance"]) >= 10
    middle = {way: np.median(cents) for way, cents in off.items()}
    assert middle["balance"] < 10
    assert middle["balance"] < 0.3 * middle["resonance"]
    for way in ("one harmonic", "another note's"):
        assert middle[way] > 1.5 * middle["balance"]


def test_with_flows_held_the_balance_is_the_same_where_they_were_taken(simulated: list[Simulated]) -> None:
    """Control: with those of another note it is another."""
    apart: list[float] = []
    others: list[float] = []
    for one in simulated:
        share, hz = one.chanter.share[::SETTINGS], one.chanter.resonance_hz[::SETTINGS]
        balanced_hz = one.blown.playing_hz(one.sound.pressures, share, hz)
        known_hz = np.where(np.isfinite(balanced_hz), balanced_hz, hz)
        flows = one.blown.flows(one.sound.pressures, share, known_hz)
        for kept, given in ((apart, flows), (others, np.roll(flows, 1, axis=0))):
            again_hz = one.blown.playing_with_flows_hz(given, share, known_hz)
            kept.extend(np.abs(1200 * np.log2(again_hz / balanced_hz))[one.sound.steady].tolist())
    assert np.median(apart) < 1e-3
    assert np.nanmedian(others) > 0.5


def test_a_stiffer_reed_begins_later_and_sounds_sharper(simulated: list[Simulated]) -> None:
    """Common practice, no source: strong reeds play sharp, most at the top. Control: the other way round."""
    low, high = NOTES.index(LOW_A), NOTES.index(HIGH_A)
    for one in simulated:
        start_hz = one.chanter.resonance_hz[::SETTINGS]
        (hz, pa), (stiff_hz, stiff_pa), (soft_hz, soft_pa) = (
            blown.threshold(start_hz) for blown in (one.blown, harder(one.blown, 1.2), harder(one.blown, 0.9))
        )
        assert np.all(stiff_pa > pa)
        assert np.all(soft_pa < pa)
        sharper = 1200 * np.log2(stiff_hz / hz)
        assert sharper[high] > sharper[low] > 0
        assert np.all(soft_hz < hz)


def test_what_leaves_a_tube_is_what_enters_it_over_the_sine() -> None:
    """Closed above, open below, lossless: U at the end over p at the top is 1 / (Zc sin kL)."""
    tube = ideal_end(bare_bore(LOSSLESS, length_mm=300.0, top_mm=8.0, bottom_mm=8.0))
    blown = Blown(network=tube, reed=_reed(), open_share=np.empty((1, 0)), gap_m=np.zeros(1))
    omega = 2 * np.pi * np.array([[200.0, 500.0, 900.0]])
    line = DENSITY_KG_M3 * SPEED_M_S / (np.pi * 0.004**2)
    expected = omega / (line * np.abs(np.sin(omega * 0.3 / SPEED_M_S)))
    np.testing.assert_allclose(blown.heard_outside(omega), expected, rtol=1e-3)
    # Control: the length is felt.
    assert np.abs(blown.heard_outside(omega) / omega[..., ::-1] - 1).min() > 1e-3


def _reed() -> MassReed:
    return MassReed(
        cavity_mm3=130.0, spring_mm3=110.0, own_hz=5000.0, damping=0.3, closing_pa=1e4, slit_m2=2e-6
    )


def test_a_crossing_that_rises_is_found_and_one_that_falls_is_none() -> None:
    start_hz = np.array([480.0, 480.0, 480.0])
    wanted_hz = np.array([490.0, 470.0, 600.0])
    found = crossing_hz(lambda hz: (hz - wanted_hz) ** 3 + (hz - wanted_hz), start_hz)
    np.testing.assert_allclose(found[:2], wanted_hz[:2], rtol=1e-6)
    # Too far off, and falling.
    assert np.isnan(found[2])
    assert np.all(np.isnan(crossing_hz(lambda hz: 490.0 - hz, start_hz)))

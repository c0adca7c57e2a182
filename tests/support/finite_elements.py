"""Bores by openwind, a library of finite elements for wind instruments: impedance and first resonance.

Its losses are the default ones ("bessel"), so is its mesh. It warns when it is first compiled, so it is
imported here, quietly and drawing to no window, and not at the top of a file.
"""

from __future__ import annotations

import importlib
import warnings
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.interpolate import CubicSpline

from canebench.base.fingering import HOLES, OPEN_HOLES
from canebench.base.notes import NOTES
from canebench.bore.losses import Medium
from canebench.bore.network import Cases, admittance
from canebench.bore.resonance import STILL

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, ComplexArray, FloatArray
    from canebench.bore.assembly import Network
    from support.random_bores import RandomBore

TEMPERATURE_DEGC = 25.0
#: Where both ways are asked for the impedance: the range of our own search, in steps of 1 %.
GRID_HZ = np.geomspace(150.0, 1600.0, 239)
#: Impedances are compared in this range, at least two of the grid's steps from any extremum.
COMPARED_HZ = (200.0, 1300.0)
_CLEAR_STEPS = 2
_FINE = 9
#: Our own first step and most steps (`canebench.bore.resonance`).
_NEARBY, _MOST_ROUNDS = 1.001, 20
#: Up to how far above the first resonance a stronger one speaks instead.
_CLOSE = 1.25
_MM = 1e-3


def openwind() -> Any:
    """The library."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        importlib.import_module("matplotlib").use("agg")
        return importlib.import_module("openwind")


def medium() -> Medium:
    """Its air at `TEMPERATURE_DEGC`, as our losses take it."""
    names = ("rho", "c", "mu", "kappa", "Cp", "gamma")
    density, speed, viscosity, conductivity, heat, gamma = (
        float(value) for value in openwind().Physics(TEMPERATURE_DEGC).get_coefs(0.0, *names)
    )
    return Medium(
        density_kg_m3=density,
        stiffness_pa=density * speed**2,
        viscosity_m2_s=viscosity / density,
        diffusivity_m2_s=conductivity / (density * heat),
        gamma=gamma,
    )


def main_bore(bore: RandomBore) -> list[list[Any]]:
    """Rows of start, end (metres from the reed), two radii (metres) and shape: staple, gap, sections."""
    staple, seat = bore.reed.staple, bore.chanter.seat
    parts = [(staple.length_mm, staple.top_mm, staple.bottom_mm)]
    parts.append((seat.gap_mm, seat.diameter_mm, seat.diameter_mm))
    parts += [(section.length_mm, section.top_mm, section.bottom_mm) for section in bore.chanter.sections]
    rows: list[list[Any]] = []
    start_m = 0.0
    for length_mm, top_mm, bottom_mm in parts:
        end_m = start_m + length_mm * _MM
        rows.append([start_m, end_m, top_mm * _MM / 2, bottom_mm * _MM / 2, "linear"])
        start_m = end_m
    return rows


def holes(bore: RandomBore) -> list[list[Any]]:
    """Rows of label, position (metres from the reed), chimney and radius (metres), below their headings."""
    above_mm = bore.reed.staple.length_mm + bore.chanter.seat.gap_mm
    labels = [f"hole{number}" for number in range(len(HOLES))]
    labels += [f"vent{number}" for number in range(len(bore.chanter.vents))]
    rows: list[list[Any]] = [["label", "position", "length", "radius"]]
    rows += [
        [label, (above_mm + hole.position_mm) * _MM, hole.wall_mm * _MM, hole.diameter_mm * _MM / 2]
        for label, hole in zip(labels, bore.chanter.openings, strict=True)
    ]
    return rows


def fingerings() -> list[list[str]]:
    """The nine fingerings, a hole to a row; vents, in no row, stay open."""
    rows = [["label", *map(note_label, NOTES)]]
    for number, hole in enumerate(HOLES):
        rows.append([f"hole{number}", *("o" if hole in OPEN_HOLES[note] else "x" for note in NOTES)])
    return rows


def note_label(note: str) -> str:
    """A note's name without its space."""
    return note.replace(" ", "_")


class FiniteElements:
    """One bore, meshed once; fingerings are set on it.

    `method` is the library's own word: "FEM", or "TMM" for its transfer matrices, which are quicker and up to
    a cent off in cones.
    """

    def __init__(self, bore: RandomBore, *, method: str = "FEM") -> None:
        library = openwind()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            physics = library.InstrumentPhysics(
                library.InstrumentGeometry(main_bore(bore), holes(bore), fingerings()),
                TEMPERATURE_DEGC,
                library.Player(),
                losses="bessel",
                nondim=True,
                radiation_category="unflanged",
                discontinuity_mass=bore.chanter.step_masses,
                matching_volume=False,
            )
            self._solver = library.FrequentialSolver(physics, GRID_HZ, compute_method=method)

    def impedance(self, note: str, hz: FloatArray) -> ComplexArray:
        """Input impedance (Pa s/m^3) at the top of the staple, without the reed's volume: shape of `hz`."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self._solver.update_frequencies_and_mesh(hz)
            self._solver.set_note(note_label(note))
            self._solver.solve()
        return np.array(self._solver.impedance)

    def resonance_hz(self, note: str, impedance: ComplexArray, *, compliance_m3_pa: float) -> float:
        """The resonance that speaks with the reed's compliance added, Hz; NaN where there is none.

        Im Y rises through 0 there: it is the first, or the one of the smallest Re Y among those up to a
        quarter above it, as in our own search. `impedance` at `GRID_HZ` brackets them all. Each is then
        computed at nine points of that step, and a spline through them crosses 0: the grid's coarseness is
        not what is measured.
        """
        imbalance = (1 / impedance).imag + 2 * np.pi * GRID_HZ * compliance_m3_pa
        (rises,) = np.nonzero((imbalance[:-1] < 0) & (imbalance[1:] >= 0))
        if not rises.size:
            return float("nan")
        close = rises[GRID_HZ[rises] < _CLOSE * GRID_HZ[rises[0]]]
        found = [self._crossing(note, int(step), compliance_m3_pa) for step in close]
        return min(found, key=lambda one: one[1])[0]

    def followed_hz(self, note: str, start_hz: float) -> float:
        """The bore's own resonance near a start, by the steps and to the tolerance of our own; Hz."""
        before, now = start_hz, start_hz * _NEARBY
        value_before, value = (1 / self.impedance(note, np.array([before, now]))).imag
        for _ in range(_MOST_ROUNDS):
            step = -value * (now - before) / (value - value_before)
            before, value_before, now = now, value, now + step
            if abs(step) <= STILL * now:
                return float(now)
            value = (1 / self.impedance(note, np.array([now]))).imag[0]
        return float("nan")

    def searched_hz(self, note: str) -> float:
        """The bore's own resonance that speaks, searched and followed as in our own search; Hz."""
        imbalance = (1 / self.impedance(note, GRID_HZ)).imag
        (rises,) = np.nonzero((imbalance[:-1] < 0) & (imbalance[1:] >= 0))
        share = imbalance[rises] / (imbalance[rises] - imbalance[rises + 1])
        starts = GRID_HZ[rises] + (GRID_HZ[rises + 1] - GRID_HZ[rises]) * share
        found = [self.followed_hz(note, float(start)) for start in starts[starts < _CLOSE * starts[0]]]
        if len(found) == 1:
            return found[0]
        return found[int(np.argmin((1 / self.impedance(note, np.array(found))).real))]

    def _crossing(self, note: str, step: int, compliance_m3_pa: float) -> tuple[float, float]:
        """Where Im Y rises through 0 within a step of the grid, Hz, and Re Y there."""
        fine_hz = np.linspace(GRID_HZ[step], GRID_HZ[step + 1], _FINE)
        driven = 1 / self.impedance(note, fine_hz) + 2j * np.pi * fine_hz * compliance_m3_pa
        at_hz = float(CubicSpline(fine_hz, driven.imag).roots(extrapolate=False)[0])
        return at_hz, float(CubicSpline(fine_hz, driven.real)(at_hz))


def without_reed(network: Network) -> Network:
    """The same bore and staple, closed where the blades would be."""
    return replace(network, volume_m3=0.0)


def our_impedance(network: Network, open_share: FloatArray, gap_m: float) -> ComplexArray:
    """Our own impedance at `GRID_HZ` of one fingering, `open_share` (H,), without the reed's volume."""
    rows = GRID_HZ.size
    cases = Cases(
        omega=2 * np.pi * GRID_HZ[:, None],
        open_share=np.tile(open_share, (rows, 1)),
        gap_m=np.full((rows, 1), gap_m),
    )
    return np.asarray(1 / admittance(without_reed(network), cases))


def away_from_extrema(impedance: ComplexArray) -> BoolArray:
    """Points of `GRID_HZ` within `COMPARED_HZ` and at least 2 % from every extremum of |Z|."""
    size = np.abs(impedance)
    turns = np.zeros(size.shape, bool)
    turns[1:-1] = (size[1:-1] - size[:-2]) * (size[2:] - size[1:-1]) <= 0
    # An extremum lies anywhere between the neighbours of the point that turns.
    near = np.convolve(turns, np.ones(2 * _CLEAR_STEPS + 1), mode="same") > 0
    return np.asarray(~near & (COMPARED_HZ[0] <= GRID_HZ) & (COMPARED_HZ[1] >= GRID_HZ))

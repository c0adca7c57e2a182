"""What tables say of a millimetre of seat and of a strip, beside how chanters of the worlds outside answer.

Tables of the generic chanter by several ways: the plan's own, the resonance, and the balance of reactive
power (`support.reactive_balance`), the spectrum being that of a simulated reed on it, or, where a world has
one, that of the very chanter's take. Errors over chanters and notes; then the same after each chanter's
common factor has been taken out, which is what the plan learns first. Run by `benchmarks/run`.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.model_effects import instrument_of, model_effects
from canebench.bore.chanter_file import generic
from canebench.bore.instrument import network_of, rows_of
from canebench.bore.resonance import resonances_hz
from support.blown_reed import fitted_admittance, played
from support.bores import SPEED_M_S
from support.modal_bore import fitted
from support.reactive_balance import Blown, MassReed
from worlds.maker import resonant_reed
from worlds.per_note import per_note
from worlds.perverse import perverse
from worlds.resonant_reed import ResonantReed
from worlds.world import OWN_NOTES

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import FloatArray
    from worlds.world import World

_SEAT_MM: Final = 0.5
_TAPE_MM: Final = 1.5
_MINUTE: Final = 20.0
_HARMONICS: Final = 6
#: By how much a microphone in a room misses a harmonic, dB.
_ROOM_DB: Final = 3.0
#: The generic chanter's reed in the middle of what is drawn, and how hard it is blown beyond where it begins.
_REED: Final = MassReed(
    cavity_mm3=132.0, spring_mm3=108.0, own_hz=5000.0, damping=0.35, closing_pa=11e3, slit_m2=2e-6
)
_OVER: Final = 1.25
#: Seats up and down, then a strip on each hole.
_SETTINGS: Final = [
    Setting(),
    Setting(seat_mm=-_SEAT_MM),
    Setting(seat_mm=_SEAT_MM),
    *(Setting(tape_mm={hole: _TAPE_MM}) for hole in HOLES),
]
_WORLDS: Final[dict[str, Callable[[int], World]]] = {
    "per_note": per_note,
    "perverse": perverse,
    "resonant_reed": resonant_reed,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Slopes:
    """Cents a millimetre deeper of each note (9,), and of a strip on each hole's own note (8,)."""

    seat: FloatArray
    tape: FloatArray


class Generic:
    """The generic chanter in `_SETTINGS`, notes by settings, with a reed of one mass."""

    def __init__(self) -> None:
        instrument = instrument_of(generic())
        self.network = network_of(instrument, 0)
        share, gaps_m = rows_of(instrument, _SETTINGS)
        self.blown = Blown(network=self.network, reed=_REED, open_share=share, gap_m=gaps_m)
        bare = Blown(
            network=self.network, reed=_REED, open_share=share[: len(NOTES)], gap_m=gaps_m[: len(NOTES)]
        )
        self.bare_hz = resonances_hz(self.network, bare.open_share, bare.gap_m)
        onset_hz, onset_pa = bare.threshold(self.bare_hz)
        self.mouth_pa = _OVER * onset_pa
        sound = played(fitted(1 / fitted_admittance(bare)), [bare], self.mouth_pa, onset_hz)
        self.simulated = sound.pressures[:, :_HARMONICS]
        self.steady = sound.steady

    def resonance(self) -> Slopes:
        """By the resonance alone."""
        start_hz = np.tile(self.bare_hz, len(_SETTINGS))
        return _slopes(
            resonances_hz(self.network, self.blown.open_share, self.blown.gap_m, start_hz=start_hz)
        )

    def balance(self, pressures: FloatArray) -> Slopes:
        """By the balance with these harmonics (9, N) between the blades."""
        share = np.tile(self.mouth_pa / _REED.closing_pa, len(_SETTINGS))
        start_hz = np.tile(self.bare_hz, len(_SETTINGS))
        return _slopes(self.blown.playing_hz(np.tile(pressures, (len(_SETTINGS), 1)), share, start_hz))

    def shorter(self) -> Slopes:
        """A bore that is only shorter; tape by the resonance."""
        share = 2 * self.bare_hz * 1e-3 / SPEED_M_S
        return Slopes(seat=-1200 * np.log2(1 - share), tape=self.resonance().tape)


def _slopes(hz: FloatArray) -> Slopes:
    """From pitches of all settings, notes within."""
    cents = 1200 * np.log2(hz.reshape(len(_SETTINGS), len(NOTES)) / hz[: len(NOTES)])
    return Slopes(
        seat=(cents[2] - cents[1]) / (2 * _SEAT_MM), tape=cents[3:][np.arange(len(HOLES)), OWN_NOTES]
    )


def _plans_own() -> Slopes:
    tables = model_effects(generic())
    tape = [-tables.tape(hole, _TAPE_MM)[note] for hole, note in zip(HOLES, OWN_NOTES, strict=True)]
    return Slopes(seat=tables.seat_per_mm(0.0), tape=np.array(tape))


def _answers(world: World) -> Slopes:
    """How a chanter of a world answers."""
    seats = np.array([-_SEAT_MM, _SEAT_MM, *np.zeros(len(HOLES) + 1)])
    tape = np.vstack([np.zeros((3, len(HOLES))), _TAPE_MM * np.eye(len(HOLES))])
    cents = world.cents(seats, tape, _MINUTE)
    seat = (cents[1] - cents[0]) / (2 * _SEAT_MM)
    return Slopes(seat=seat, tape=(cents[3:] - cents[2])[np.arange(len(HOLES)), OWN_NOTES])


def _errors(found: FloatArray, true: FloatArray) -> str:
    """Mean and root mean square of the difference, and the latter without a common factor of each chanter."""
    factor = (found * true).sum(axis=1, keepdims=True) / (found**2).sum(axis=1, keepdims=True)
    rms, alone = (np.sqrt(np.mean((scale * found - true) ** 2)) for scale in (1.0, factor))
    return f"{np.mean(found - true):+7.1f} {rms:7.2f} {alone:7.2f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--chanters", type=int, default=24)
    parser.add_argument("--first", type=int, default=501)
    args = parser.parse_args()
    chanter, rng = Generic(), np.random.default_rng(7)
    blown = chanter.balance(chanter.simulated)
    shorter, plan = chanter.shorter(), _plans_own()
    ways = {
        "the plan's own": plan,
        "resonance": chanter.resonance(),
        "a shorter bore": shorter,
        "balance": blown,
        "half balance, half shorter": Slopes(seat=(blown.seat + shorter.seat) / 2, tape=blown.tape),
    }
    print(f"generic chanter: {chanter.steady.sum()} of {len(NOTES)} simulated notes play steadily")
    for way, table in ways.items():
        print(f"    {way:28s} seat {np.round(table.seat, 1)} tape {np.round(table.tape, 1)}")
    for name, draw in _WORLDS.items():
        worlds = [draw(seed) for seed in range(args.first, args.first + args.chanters)]
        true = [_answers(world) for world in worlds]
        seat, tape = (np.array([getattr(one, what) for one in true]) for what in ("seat", "tape"))
        middle = f"seat {np.median(seat):.1f} cents a mm, tape {np.median(tape):.1f} cents"
        print(f"{name}, {len(worlds)} chanters: {middle}")
        print(f"    {'':28s} {'seat: mean, rms, shape':>24s} {'tape: mean, rms, shape':>26s}")
        tables = {way: [table] * len(worlds) for way, table in ways.items()}
        heard = [world.pressures(_MINUTE) for world in worlds if isinstance(world, ResonantReed)]
        if heard:
            tables["balance, its own take's"] = [chanter.balance(one) for one in heard]
            missed = [10 ** (rng.normal(0.0, _ROOM_DB, one.shape) / 20) for one in heard]
            tables["the same, missed by 3 dB"] = [
                chanter.balance(one * room) for one, room in zip(heard, missed, strict=True)
            ]
        for way, each in tables.items():
            errors = [
                _errors(np.array([getattr(one, what) for one in each]), wanted)
                for what, wanted in (("seat", seat), ("tape", tape))
            ]
            print(f"    {way:28s} {errors[0]:>24s} {errors[1]:>26s}")


if __name__ == "__main__":
    main()

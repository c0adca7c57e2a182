"""The tables that learning starts from, against the bore model and against a bore that is only shorter."""

from __future__ import annotations

import numpy as np
import pytest

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.model_effects import instrument_of, model_effects
from canebench.bore.chanter_file import generic
from canebench.bore.instrument import pitches_hz

_LOW, _HIGH = NOTES.index(LOW_A), NOTES.index(HIGH_A)


def _moved(setting: Setting) -> np.ndarray:
    instrument = instrument_of(generic())
    before, after = (pitches_hz(instrument, [one])[0] for one in (Setting(), setting))
    return np.asarray(1200 * np.log2(after / before))


@pytest.mark.parametrize("seat_mm", [-1.3, 0.7, 1.6])
def test_seat_lies_half_way_between_the_model_and_a_shorter_bore(seat_mm: float) -> None:
    """Half a wave in the cone: c / 2 f is 370 mm at 470 Hz, so that 1 mm is 4.7 cents; high A twice that."""
    found, model = model_effects(generic()).seat(seat_mm), _moved(Setting(seat_mm=seat_mm))
    low_hz = pitches_hz(instrument_of(generic()), [Setting()])[0][_LOW]
    shorter = -1200 * np.log2(1 - 2 * low_hz * seat_mm * 1e-3 / 347.0)
    assert found[_LOW] == pytest.approx((model[_LOW] + shorter) / 2, abs=0.3)
    assert abs(shorter) < abs(found[_HIGH]) < abs(model[_HIGH])


@pytest.mark.parametrize("hole", HOLES)
def test_tape_is_the_models(hole: str) -> None:
    """Between its rows, on every note; control: another hole's tape is another row."""
    found, model = model_effects(generic()).tape(hole, 1.7), _moved(Setting(tape_mm={hole: 1.7}))
    np.testing.assert_allclose(found, -model, atol=0.7)
    other = HOLES[(HOLES.index(hole) + 3) % len(HOLES)]
    assert np.abs(model_effects(generic()).tape(other, 1.7) + model).max() > 1.0


def test_a_pinch_is_the_models() -> None:
    """One is followed, the other searched for: each to some 1e-5 cents (`bore/resonance.py`)."""
    np.testing.assert_allclose(model_effects(generic()).pinch_cents, _moved(Setting(pinches=1)), atol=3e-5)

"""Check a microphone: level, noise, tops cut off, gaps, and its clock against a tone; what is wrong in words.

What only the browser knows (device, rates, what it does to the sound) the page says. Guarded by
`tests/web/test_microphone_check.py`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from canebench.base.uncertain import number
from canebench.bench.views.live.listen import level_said
from canebench.sound.dsp.loudness import SILENT_DB
from canebench.sound.live.clock_drift import ToneClock

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.base.uncertain import Uncertain
    from canebench.sound.live.estimator import Now

#: After so long the check says what it found, s.
CHECK_S: Final = 4.5
#: Nothing at all comes in below this peak, and a room is noisy above this level, dB re full scale.
_NOTHING_DB, _NOISY_DB = -80.0, -40.0
#: What a telephone or another sound card is itself good to, as a source of the tone: some 20 millionths.
_SOURCE_CENTS: Final = 0.035
_WRONG_CLOCK_CENTS: Final = 0.3


class MicrophoneCheck:
    """One check while it lasts."""

    def __init__(self, *, rate_hz: int, tone_hz: float | None) -> None:
        self._clock = None if tone_hz is None else ToneClock(rate_hz=rate_hz, tone_hz=tone_hz)
        self._level_db = self._peak_db = SILENT_DB

    def add(self, samples: FloatArray, *, first_frame: int) -> None:
        """The next block."""
        if self._clock is not None:
            self._clock.add(samples, first_frame=first_frame)

    def said(self, now: Now) -> dict[str, Any]:
        """Every line of the check in words; `wrong` is None until it has heard enough to say."""
        loudness = now.loudness
        self._level_db = max(self._level_db, loudness.level_db)
        self._peak_db = max(self._peak_db, loudness.peak_db)
        quietest = loudness.quietest_db
        offset = None if self._clock is None else self._clock.read()
        return {
            "level": f"{number(loudness.level_db, 0)} dB, {level_said(loudness)}",
            "quiet": "not known yet" if quietest is None else f"{number(quietest, 0)} dB",
            "clipped": _times(loudness.clipped),
            "heard": _heard(now),
            "clock": self._clock_said(offset),
            "wrong": None if now.at_s < CHECK_S else self._wrong(now, offset),
        }

    def _clock_said(self, offset: Uncertain | None) -> str:
        if self._clock is None:
            return "no tone given"
        if offset is None:
            return f"no steady tone of {number(self._clock.tone_hz, 2)} Hz is heard"
        return f"the tone reads {offset.text('cents', signed=True)} from {number(self._clock.tone_hz, 2)} Hz"

    def _wrong(self, now: Now, offset: Uncertain | None) -> list[str]:
        if self._peak_db < _NOTHING_DB:
            return ["Nothing comes in at all: the microphone is muted, or another one is meant."]
        # Whoever rests just now has not played too softly.
        loudness = replace(now.loudness, level_db=self._level_db, peak_db=self._peak_db)
        found = []
        if level_said(loudness) != "good":
            found.append(f"Level: {level_said(loudness)}")
        if loudness.clipped:
            found.append("Tops are cut off: such a take cannot be measured well.")
        if loudness.quietest_db is not None and loudness.quietest_db > _NOISY_DB:
            found.append(
                "It is never quiet here: noise hides the softer partials. Turn off fans, or go elsewhere. If "
                "you played all the time, keep quiet at the start and check again."
            )
        if now.breaks:
            found.append("Sound is lost on the way: close other programs.")
        if offset is not None and abs(offset.value) - 2 * (offset.sd or 0.0) > _WRONG_CLOCK_CENTS:
            found.append(
                "The tone is not where it should be: the sound card's clock is off, or the tone is not what "
                f"was typed. A telephone's own clock is good to ± {number(_SOURCE_CENTS, 3)} cents."
            )
        return found


def _heard(now: Now) -> str:
    found = now.sounding
    if found is None:
        return "no steady note"
    return f"{found.note or 'a tone'}, {number(found.hz, 1)} Hz"


def _times(count: int) -> str:
    return "none" if not count else "once" if count == 1 else f"{count} times"

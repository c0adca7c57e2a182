"""What the decoder and its parent both say of a file that is refused; it imports nothing."""

from __future__ import annotations

from typing import Final

NEAREST: Final = "the take exported again as WAV at 48000 Hz"
SOUND_NEEDED: Final = "a file with sound in it is needed"

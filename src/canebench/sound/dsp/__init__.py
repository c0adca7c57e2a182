"""Signal processing that knows no chanter: STFT, harmonic sources, joint fit, phases, uncertainty."""

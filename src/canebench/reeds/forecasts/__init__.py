"""Forecasts of a reed that is broken in: how strong it will be, where its low A and its octave will lie."""

"""Worlds outside the forecasts: benches of reeds that share no code, no form and no prior with the model."""

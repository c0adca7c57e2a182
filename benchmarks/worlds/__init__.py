"""Worlds outside the model: chanters, reeds and pipers sharing no code and no form with `canebench.bore`."""

"""Pictures of beams, fittings and plans."""

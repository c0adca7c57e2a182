"""Lots, reeds, players, chanters and drones, day by day."""

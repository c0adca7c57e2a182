"""The drones of a section: found, followed, taken out."""

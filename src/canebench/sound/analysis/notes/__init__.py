"""The notes held over the drones: contour, octaves, tracking, tests, and what surrounds them."""

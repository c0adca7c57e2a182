"""From a recording to its drones and notes: detection, contour, tracking, naming, refusals."""

"""Templates rendered, with theme and views."""

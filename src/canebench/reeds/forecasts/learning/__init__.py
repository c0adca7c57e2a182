"""What a bench's reeds teach of each other, and how forecasts from it fared."""

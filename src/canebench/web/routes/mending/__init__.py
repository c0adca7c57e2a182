"""What was written down before, mended or taken back."""

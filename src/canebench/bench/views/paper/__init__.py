"""Cards and labels as PDF."""

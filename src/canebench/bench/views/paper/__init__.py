"""Cards, labels and reports of lots as PDF."""

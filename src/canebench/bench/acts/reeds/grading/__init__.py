"""Grading a lot: its reeds as rows of one sheet, and what is typed there."""

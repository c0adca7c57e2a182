"""What is heard while it sounds."""

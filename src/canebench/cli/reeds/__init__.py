"""Commands about reeds and their people, day by day."""

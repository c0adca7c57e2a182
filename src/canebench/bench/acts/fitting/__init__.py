"""Setting a reed up: takes, plans and what an act did."""

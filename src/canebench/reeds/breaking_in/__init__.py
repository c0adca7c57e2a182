"""A plan for breaking in: who plays which reed on which day, counted back from a date."""

"""A lot's grading sheet as it is looked at."""

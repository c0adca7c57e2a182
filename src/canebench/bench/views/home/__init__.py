"""What stands on the first page, and what is settled for all of them."""

"""Times as a person reads them."""

"""Routes by page; each reads a request, calls one act of the bench, and shows or redirects."""

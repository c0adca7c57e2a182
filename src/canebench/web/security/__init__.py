"""Host and origin checks, headers, sign-in."""

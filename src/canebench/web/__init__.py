"""The page: served on this machine, for this machine."""

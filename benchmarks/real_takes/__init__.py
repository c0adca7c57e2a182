"""Takes made from isolated recordings of real pipes, measured and held against the recordings' own pitch."""

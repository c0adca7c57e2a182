"""Takes made from isolated recordings of real pipes, and their measurement held against the recordings' own pitch."""

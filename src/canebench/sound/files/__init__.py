"""Sound files into recordings, and recordings into sound files."""

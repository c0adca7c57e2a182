"""`python -m real_takes FOLDER`; processes of its own import `run` by name."""

from real_takes.run import main

main()

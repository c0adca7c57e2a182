"""`python -m canebench`, where the command itself is not on the path."""

from canebench.cli.main import main

main()

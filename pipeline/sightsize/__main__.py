"""Run the command line with ``python -m sightsize``."""

from sightsize.cli import main

main()

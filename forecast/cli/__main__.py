"""Let `python -m forecast.cli` run the commands."""

from forecast.cli import main

main()

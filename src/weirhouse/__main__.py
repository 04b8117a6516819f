"""Runs the command line: ``python -m weirhouse``."""

from weirhouse.cli import main

if __name__ == "__main__":
    main()

"""Run the command line with ``python -m cagekit``."""

import sys

from cagekit.cli.main import main

if __name__ == "__main__":
    sys.exit(main())

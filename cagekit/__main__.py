"""Run the command line with ``python -m cagekit``."""

import os
import sys
from contextlib import suppress

with suppress(OSError):
    # the working folder, which -m puts first: what lies there must not stand in for a library
    if sys.path[0] in ("", os.getcwd()) and not os.path.isdir("cagekit"):  # noqa: PTH109, PTH112
        del sys.path[0]

from cagekit.cli.main import main

if __name__ == "__main__":
    main()

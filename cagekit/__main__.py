"""Run the command line with ``python -m cagekit``."""

import sys
from contextlib import suppress
from pathlib import Path

with suppress(OSError):
    # the working folder, which -m puts first: what lies there must not stand in for a library
    if sys.path[0] in ("", str(Path.cwd())) and not Path("cagekit").is_dir():
        del sys.path[0]

from cagekit.cli.main import main

if __name__ == "__main__":
    main()

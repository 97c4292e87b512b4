"""Make the guide: ``python -m cagekit.guide``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from cagekit.errors import CagekitError
from cagekit.guide.site import build


def main() -> int:
    """Make it; 2 when something is wrong with it."""
    parser = argparse.ArgumentParser(prog="python -m cagekit.guide", description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("outputs/guide"), help="outputs/guide")
    given = parser.parse_args()
    try:
        build(given.out, lambda name: print(name, file=sys.stderr))
    except CagekitError as error:
        print(f"error: {error}", file=sys.stderr)
        return error.exit_code
    print(f"{given.out / 'index.html'}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""``cagekit view BUILD``: the page with live parameters, served on this machine only."""

from __future__ import annotations

import argparse
import threading
import time
from pathlib import Path

from cagekit.cli.build import add_build
from cagekit.cli.console import Progress, caution, emit, note

PATIENCE = 3.0
"""So long (s) the first findings wait for the browser to have its picture."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    add_build(parser)
    parser.add_argument("--no-open", action="store_true", help="open no browser")
    parser.add_argument(
        "--port", type=int, default=0, metavar="N", help="port to serve on (any that is free)"
    )
    parser.add_argument(
        "--out", metavar="DIR", help="folder that the page's `make` writes (outputs/<build>)"
    )
    parser.epilog = (
        "The page answers on this machine only, under an address with a token. Every change is "
        "worked out at once; `save` writes your build file and keeps its comments. Ctrl-C stops."
    )


def run(args: argparse.Namespace) -> int:
    """Serve until stopped."""
    from cagekit.errors import InputError
    from cagekit.live.server import LiveServer
    from cagekit.live.session import Session

    if not 0 <= args.port <= 65535:
        raise InputError("--port", "", args.port, problem="is no port.", hint="1 to 65535.")
    with Progress() as progress:
        progress.step("putting the cage together")
        session = Session(args.build, units=args.units, patience=PATIENCE)
    out = Path(args.out) if args.out else None
    try:
        server = LiveServer(session, port=args.port, out=out)
    except InputError:
        session.close()
        raise
    if args.json:
        emit({"address": server.address})
    else:
        print(f"{session.design.name} is on {server.address}", flush=True)
        note("Ctrl-C stops it.")
    caution()
    if not args.no_open:
        threading.Thread(target=_open, args=(server.address,), daemon=True).start()
    try:
        server.serve_forever(poll_interval=0.2)
    except KeyboardInterrupt:
        note("stopped.")
    finally:
        session.close()
        time.sleep(0.3)  # so that open pages hear of it
        server.server_close()
    return 0


def _open(address: str) -> None:
    """Show the page in the browser of this machine, or say that there is none."""
    import webbrowser

    try:
        shown = webbrowser.open(address)
    except webbrowser.Error:
        shown = False
    if not shown:
        note("No browser was found; open the address above in one.")

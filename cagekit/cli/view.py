"""``cagekit view BUILD``: the page with live parameters, served on this machine only."""

from __future__ import annotations

import argparse
import gc
import signal
import threading
import time
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from cagekit.cli.build import add_build
from cagekit.cli.console import Progress, caution, emit, note

if TYPE_CHECKING:
    from cagekit.inputs.build import Build
    from cagekit.live.server import LiveServer
    from cagekit.live.session import Session

PATIENCE = 3.0
"""So long (s) the first findings wait for the browser to have its picture."""
ARRIVAL = 10.0
"""So long (s) a browser that was opened may take to come before that is told."""
LAST_ANSWERS = 2.0
"""So long (s) answers that pages wait for may take when the server is stopped."""
FAREWELL = 5.0
"""So long (s) a browser that was opened may take to hear why there is no cage."""


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
        "The page answers on this machine only, under an address with a token. Every change is\n"
        "worked out at once; `save` writes your build file and keeps its comments. Ctrl-C stops."
    )


def run(args: argparse.Namespace) -> int:
    """Serve until stopped: the browser starts while the cage is put together."""
    from cagekit.errors import InputError
    from cagekit.inputs.resolve import load_build
    from cagekit.live.server import LiveServer

    if not 0 <= args.port <= 65535:
        raise InputError("--port", "", args.port, problem="is no port.", hint="1 to 65535.")
    build = load_build(args.build)
    out = Path(args.out) if args.out else None
    server = LiveServer(name=build.name, port=args.port, out=out)
    if args.json:
        emit({"address": server.address})
    else:
        print(f"{build.name} is on {server.address}", flush=True)
    serving = threading.Thread(target=server.serve_forever, args=(0.2,), daemon=True)
    serving.start()
    opening = threading.Thread(target=_open, args=(server,), daemon=True)
    if not args.no_open:
        opening.start()
    session, stopped = None, _heed_ctrl_c()
    try:
        session = _session(args, build, server)
        with suppress(KeyboardInterrupt):
            note("Ctrl-C stops it.")
            caution()
            while serving.is_alive() and not stopped.is_set():
                serving.join(0.5)
        note("stopped.")
    finally:
        if session:
            session.close()
            session.answered(LAST_ANSWERS)
            time.sleep(0.3)  # so that open pages hear of it
        server.shutdown()
        server.server_close()
    return 0


def _heed_ctrl_c() -> threading.Event:
    """Set when Ctrl-C is pressed: Python drops the interrupt where it falls into a clean-up."""
    stopped = threading.Event()

    def heed(number: int, frame: object) -> NoReturn:
        stopped.set()
        raise KeyboardInterrupt

    # where nobody can press it, as in the background, it stays ignored
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, heed)
    return stopped


def _session(args: argparse.Namespace, build: Build, server: LiveServer) -> Session:
    """Put the cage together and give it to the server; where that fails its page tells why too."""
    from cagekit.live.session import Session
    from cagekit.process import cores

    try:
        with Progress() as progress:
            progress.step("putting the cage together")
            # what is there after the start stays: the collector need not look at it again and again
            session = Session(
                args.build,
                build=build,
                units=args.units,
                patience=PATIENCE,
                settled=gc.freeze,
                helped=cores() > 2,  # one is the browser's
            )
    except Exception as error:
        server.give_up(str(error) or type(error).__name__)
        if not args.no_open:
            server.told.wait(FAREWELL)
        raise
    server.begin(session)
    return session


def _open(server: LiveServer) -> None:
    """Show the page in the browser of this machine, or say that none has come.

    An opener may be there that finds no browser, so what counts is who comes for the page.
    """
    import webbrowser

    try:
        shown = webbrowser.open(server.address)
    except webbrowser.Error:
        shown = False
    if not shown:
        note("No browser was found; open the address above in one.")
    elif not server.visited.wait(ARRIVAL):
        note("No browser has come yet; open the address above in one.")

"""Entry of the command line: finds the verb, runs it, turns errors into one clear message.

Exit codes: 0 done, 1 done with findings that fail, 2 wrong usage or input, 3 geometry or the CAD
kernel could not make it (or a fault of cagekit itself), 128 and more stopped by a signal.
"""

from __future__ import annotations

import argparse
import gc
import os
import signal
import sys
from collections.abc import Collection, Sequence
from contextlib import suppress
from typing import Any, NoReturn

from cagekit.cli.console import complain
from cagekit.cli.later import load_later
from cagekit.cli.streams import flush_streams, guard_streams
from cagekit.cli.verbs import VERBS, Verb
from cagekit.errors import CagekitError, InputError
from cagekit.version import __version__

PROGRAM = "cagekit"
ABOUT = "Exact safety cages for race cars from a few measurements."
MORE = """\
BUILD is the name of a build preset or a path to your own file.

A cage can kill when it is wrong. cagekit computes geometry and screening figures only; the
current rulebook and the scrutineer decide.
"""

EXIT_USAGE = 2
EXIT_FAULT = 3
EXIT_STOPPED = 130
LONGEST_FAULT = 500
"""Letters of a fault's own words that are printed."""


class _Once(argparse.Action):
    """Takes a value, and refuses a second one: the first would be lost without a word."""

    adds_up = False
    given = False

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: Any,
        option_string: str | None = None,
    ) -> None:
        """Store the value."""
        if option_string and self.given:
            if not self.adds_up:
                parser.error(f"{option_string} is given twice")
            values = f"{getattr(namespace, self.dest)},{values}"
        self.given = True
        setattr(namespace, self.dest, values)


class _Names(_Once):
    """Takes names with commas between them, and more of them each time it is given."""

    adds_up = True


class Parser(argparse.ArgumentParser):
    """Refuses in the words of the other messages instead of printing the whole usage.

    An option that takes one value is refused when it is given twice; ``action="names"`` adds up.
    """

    def __init__(self, *args: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        self.register("action", None, _Once)
        self.register("action", "names", _Names)

    def error(self, message: str) -> NoReturn:
        """Refuse with one message.

        Raises:
            InputError: always.
        """
        raise InputError(self.prog, problem=f"{message}.", hint=f"See `{self.prog} --help`.")


def main() -> NoReturn:
    """Run the process's own arguments and end the process; the entry of the console script."""
    code = start()
    with suppress(OSError):
        flush_streams()
    # taking down all that was loaded and made frees nothing that matters: 10 ms after a check,
    # 0.2 s where the kernel is loaded
    os._exit(code)


def start() -> int:
    """Run the process's own arguments and return the exit code, for who has more to do then.

    That is a test, or a profiler.
    """
    guard_streams()
    _have_home()
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _leave)
    # an installed package may bring a plug-in that watches what pydantic reads: look for none
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    load_later()
    # arrays here are small: more threads cost 50 to 110 ms a run and give nothing back
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # most objects of a run live until its end: looking for dead cycles all the time finds none
    gc.set_threshold(250_000, 20, 50)
    return run(sys.argv[1:])


def _have_home() -> None:
    """Give the run a home that holds nothing where the system knows of none.

    Several libraries look for settings there and end the program when nobody has one.
    """
    if os.path.expanduser("~") == "~":  # noqa: PTH111
        os.environ["HOME"] = os.path.join(os.sep, "nonexistent")  # noqa: PTH118


def _leave(number: int, frame: object) -> NoReturn:
    """Stop when the system asks for it, but clear away what is half written."""
    raise SystemExit(128 + number)


def run(argv: Sequence[str]) -> int:
    """Run ``argv`` (without the program's name) and return the exit code; never raises."""
    debug = "--debug" in argv
    try:
        code = _dispatch(list(argv))
        sys.stdout.flush()
        return code
    except SystemExit as stop:
        return _stopped(stop)
    except BrokenPipeError:
        # the reader (head, less) has gone
        _forget_output()
        return 0
    except KeyboardInterrupt:
        complain("stopped.")
        return EXIT_STOPPED
    except CagekitError as error:
        if debug:
            _show_details()
        from cagekit.names import error_words

        complain(error_words(error))
        return error.exit_code
    except OSError as error:
        if debug:
            _show_details()
        _forget_output()
        place = f"{error.filename}: " if error.filename else ""
        complain(f"the system refuses: {place}{error.strerror or error}.")
        return EXIT_USAGE
    except MemoryError:
        complain("there is not enough memory for this.")
        return EXIT_FAULT
    except Exception as error:
        return _fault(error, debug=debug)


def _stopped(stop: SystemExit) -> int:
    """The exit code when something ends the program: help, a signal, or a library's fault."""
    code = 0 if stop.code is None else stop.code
    if isinstance(code, int) and (code == 0 or code > 128):
        return code  # --help and --version; a signal
    complain(f"a library ended the run ({code}). Run 'cagekit doctor'.")
    return EXIT_FAULT


def _show_details() -> None:
    import traceback

    traceback.print_exc()


def _forget_output() -> None:
    """Drop what could not be written, so that it is not tried again at exit."""
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115


def _fault(error: Exception, *, debug: bool) -> int:
    """Tell about a fault that is cagekit's own."""
    import traceback

    if debug:
        _show_details()
    where = traceback.extract_tb(error.__traceback__)[-1]
    said = str(error)
    said = said if len(said) <= LONGEST_FAULT else f"{said[:LONGEST_FAULT]}..."
    complain(
        f"a fault in cagekit itself: {type(error).__name__}: {said} "
        f"({os.path.basename(where.filename)}:{where.lineno}). "  # noqa: PTH119
        "Please report it together with the command and the files it read; "
        "with --debug the command shows the details to add."
    )
    return EXIT_FAULT


def _dispatch(argv: list[str]) -> int:
    top = _top_parser()
    given, rest = top.parse_known_args(_before_verb(argv))
    words = argv[len(_before_verb(argv)) :]
    if rest:
        raise InputError(PROGRAM, problem=f"unknown option {rest[0]}.", hint=_see())
    if not words:
        top.print_help()
        return 0
    verb = _verb(words[0])
    module = verb.load()
    parser = Parser(
        prog=f"{PROGRAM} {verb.name}",
        description=f"{verb.about[0].upper()}{verb.about[1:]}.",
        parents=[_shared(vars(given))],
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    module.add_arguments(parser)
    more = getattr(module, "add_more", None)
    if more:
        more(parser, [*_before_verb(argv), *words[1:]])
    defaults = {"json": False, "units": None, "debug": False, **vars(given)}
    args = argparse.Namespace(**defaults)
    args, unknown = parser.parse_known_args(words[1:], args)
    if unknown:
        from cagekit.inputs.messages import shorten

        word = unknown[0]
        if not word.startswith("-"):
            problem = f"takes no {shorten(word)} beside what is there already."
            raise InputError(parser.prog, problem=problem, hint=_see(parser.prog))
        raise InputError(parser.prog, problem=f"unknown option {word}.", hint=_near(word, parser))
    return module.run(args)


def _before_verb(argv: list[str]) -> list[str]:
    """The options that stand before the verb."""
    n = 0
    while n < len(argv) and argv[n].startswith("-"):
        n += 2 if argv[n] == "--units" else 1
    return argv[:n]


def _top_parser() -> Parser:
    width = max(len(v.name) for v in VERBS)
    verbs = "\n".join(f"  {v.name:<{width}}  {v.about}" for v in VERBS)
    parser = Parser(
        prog=PROGRAM,
        usage=f"{PROGRAM} VERB [BUILD] [options]",
        description=f"{ABOUT}\n\nverbs:\n{verbs}",
        epilog=f"`{PROGRAM} VERB --help` tells more about one of them.\n\n{MORE}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        parents=[_shared()],
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"{PROGRAM} {__version__}")
    return parser


def _shared(before: Collection[str] = ()) -> Parser:
    """Options that every verb takes, before or after its name.

    Args:
        before: those that stood before it: with a value they are not taken a second time.
    """
    shared = Parser(add_help=False, argument_default=argparse.SUPPRESS)
    shared.add_argument(
        "--json", action="store_true", help="print for machines what is printed for people"
    )
    shared.add_argument(
        "--units",
        choices=("mm", "in"),
        help="units of tables and messages (the build's own, if not given)",
    )
    shared.add_argument("--debug", action="store_true", help="show the details of a fault")
    for action in shared._actions:
        if isinstance(action, _Once):
            action.given = action.dest in before
    return shared


def _verb(name: str) -> Verb:
    for verb in VERBS:
        if verb.name == name:
            return verb
    from cagekit.hints import did_you_mean

    raise InputError(
        PROGRAM,
        problem=f"there is no verb {name!r}.",
        hint=did_you_mean(name, [v.name for v in VERBS], what="Verbs"),
    )


def _near(option: str, parser: argparse.ArgumentParser) -> str:
    from cagekit.hints import closest

    known = [o for a in parser._actions for o in a.option_strings]
    near = closest(option.partition("=")[0], known)
    return f"Did you mean {near[0]}?" if near and option.startswith("-") else _see(parser.prog)


def _see(prog: str = PROGRAM) -> str:
    return f"See `{prog} --help`."

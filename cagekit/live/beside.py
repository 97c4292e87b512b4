"""A second process that measures a part of every version while this one measures the rest.

It is told of a version when its picture is out, makes the cage once more from what changed, and
measures what stands near people, shell and floor: more than a third of what the checks take. What
it does not answer is measured here, so nothing hangs on it but time.

It is started anew on every system and never copied from this one. Tried on Linux alone.
"""

from __future__ import annotations

import gc
import io
import pickle
import queue
from collections.abc import Callable, Collection, Iterable
from functools import partial
from threading import Condition, Thread
from typing import TYPE_CHECKING, Any

from cagekit.cage.kept import Kept
from cagekit.checks.quantities.quantity import quantities
from cagekit.checks.quantities.survey import Asked, Found, Survey
from cagekit.design import Design
from cagekit.inputs.build import Build
from cagekit.process import OtherProcess, answers_to_caller, hear_from_caller, send

if TYPE_CHECKING:
    from cagekit.units import LengthUnit

ROOMS = frozenset(
    f"cagekit.checks.quantities.{room}"
    for room in ("driver", "plates_in_car", "room", "sight", "shell")
)
"""What is measured there: these share what they are worked out from, and little with the rest. With
more it would be waited for."""


class SecondProcess:
    """The second process; versions are counted up.

    Args:
        base: what every version is a change of.
    """

    def __init__(self, base: Design) -> None:
        self._base = base.build
        self._version = -1  # 0 when it is ready
        self._found: Found = {}
        self._ended = False
        self._heard = Condition()
        self._process = OtherProcess(__name__)
        self._tell((base.build, base.units))
        Thread(target=self._listen, daemon=True).start()

    @property
    def answers(self) -> bool:
        """Whether it is ready and still there."""
        return self._version >= 0 and not self._ended

    def measures_versions_of(self, base: Design) -> bool:
        """Whether ``base`` is what it was started with."""
        return self._base is base.build

    def ask(self, version: int, build: Build, asked: Collection[Asked]) -> None:
        """Let it measure a version, and break off the one before."""
        self._tell((version, packed(build, self._base), tuple(asked)))

    def answer(self, version: int, breathe: Callable[[], None]) -> Found:
        """Wait for what it measured of the version asked for last; nothing if it could not.

        Args:
            version: as asked.
            breathe: called now and then; what it raises ends the wait.
        """
        with self._heard:
            while self._version != version and not self._ended:
                self._heard.wait(0.05)
                breathe()
            return self._found if self._version == version else {}

    def close(self) -> None:
        """End it."""
        self._ended = True
        self._process.close()

    def _tell(self, value: object) -> None:
        try:
            self._process.send(value)
        except (OSError, ValueError):  # gone, or closed
            self._ended = True

    def _listen(self) -> None:
        while not self._ended:
            try:
                version, found = self._process.receive()
            except (EOFError, OSError, ValueError):
                self._ended = True
                found = {}
            with self._heard:
                if not self._ended:
                    self._version, self._found = version, found
                self._heard.notify_all()


def shares(asked: Iterable[Asked]) -> tuple[list[Asked], list[Asked]]:
    """What of all that is asked of a version is measured here, and what in the second process."""
    known = quantities()
    here: list[Asked] = []
    there: list[Asked] = []
    for key in asked:
        (there if known[key[0]].measure.__module__ in ROOMS else here).append(key)
    return here, there


# -- how a version goes over ----------------------------------------------------------------------


def _parts(build: Build) -> list[object]:
    """What a build is made of, the same list in both processes."""
    own = [getattr(build, n) for n in build.__struct_fields__]
    return [*own, *(part for whole in own if isinstance(whole, tuple) for part in whole)]


class _Pickler(pickle.Pickler):
    """Says which part of the base it is where a version has the same."""

    def __init__(self, stream: io.BytesIO, base: Build) -> None:
        super().__init__(stream, pickle.HIGHEST_PROTOCOL)
        self._known = {id(part): n for n, part in enumerate(_parts(base))}

    def persistent_id(self, value: Any) -> int | None:
        return self._known.get(id(value))


class _Unpickler(pickle.Unpickler):
    def __init__(self, stream: io.BytesIO, base: Build) -> None:
        super().__init__(stream)
        self._parts = _parts(base)

    def persistent_load(self, number: int) -> object:
        return self._parts[number]


def packed(build: Build, base: Build) -> bytes:
    """A version of ``base`` as bytes: what changed, and where the rest is."""
    stream = io.BytesIO()
    _Pickler(stream, base).dump(build)
    return stream.getvalue()


def unpacked(data: bytes, base: Build) -> Build:
    """The version again; what did not change are the base's own objects."""
    version: Build = _Unpickler(io.BytesIO(data), base).load()
    return version


# -- the second process's side --------------------------------------------------------------------


class _OvertakenError(Exception):
    """A newer version is asked for."""


def serve(_: str) -> None:
    """Measure the newest version that is asked for until the caller goes."""
    # as in the first process
    gc.set_threshold(250_000, 20, 50)
    answers = answers_to_caller()
    heard: queue.SimpleQueue[Any] = queue.SimpleQueue()
    Thread(target=partial(hear_from_caller, heard.put), daemon=True).start()

    def breathe() -> None:
        if not heard.empty():
            raise _OvertakenError

    base = _ready(*heard.get())
    gc.freeze()  # what is there stays
    base.kept.pause = breathe
    send(answers, (0, {}))
    while True:
        version, build, asked = heard.get()
        try:
            breathe()
            found = _measured(base.of_build(unpacked(build, base.build)), asked, breathe)
        except _OvertakenError:
            continue
        except Exception:  # the first process comes upon it as well, and tells
            found = {}
        send(answers, (version, found))


def _ready(build: Build, units: LengthUnit) -> Design:
    """The base with all worked out that versions take over."""
    base = Design(build, units=units, kept=Kept())
    _ = base.people, base.cage
    return base


def _measured(design: Design, asked: Collection[Asked], breathe: Callable[[], None]) -> Found:
    survey = Survey(design)
    survey.pause = breathe
    survey.measure(asked)
    return dict(survey.found)

"""A second process that makes products beside this one.

It gets the design as it is, makes what it is handed in folders of its own and says which files
those are. What it cannot make is made by this process instead, which then tells why as ever: so
nothing hangs on the second process but time.

It is a copy of this one where this one allows it (:mod:`cagekit.make.ahead`): then it has loaded
and worked out all that this one has. Else it is started anew, and takes nothing over but what is
packed. Tried on Linux alone.
"""

from __future__ import annotations

import gc
import io
import pickle
import shutil
from collections import deque
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from threading import Thread
from types import MappingProxyType, TracebackType
from typing import Any, Self

from cagekit.cage.kept import OWN_CONTENT, Kept
from cagekit.design import Design
from cagekit.geometry.end_cut import measure_saddles
from cagekit.make.products import BESIDE, Product, chosen
from cagekit.process import AnsweringCopy, OtherProcess, answer_all, answers_to_caller, heard


class Second:
    """A second process at work; use it in a ``with`` statement.

    It takes products from the end of those that wait while this process takes them from the
    front: what stands side by side in the list is worked out from the same things, which are so
    mostly worked out once. A product that it cannot make goes to the front, and it stops.

    Args:
        design: what is made; packed, or as it is for a copy of this process.
        folder: of the run.
        waiting: the products that nobody makes yet.
        progress: told the name of each product that it is handed, from a thread of its own.
        process: the process, where it was started ahead (:mod:`cagekit.make.ahead`).
    """

    def __init__(
        self,
        design: bytes | Design,
        folder: Path,
        waiting: deque[Product],
        progress: Callable[[str], None],
        process: OtherProcess | None = None,
    ) -> None:
        self.folder, self.waiting, self.progress = folder, waiting, progress
        self._files: dict[str, tuple[str, ...]] = {}
        self._fault: Exception | None = None
        if isinstance(design, Design):
            self._process: OtherProcess = AnsweringCopy(lambda asked: _made(design, *asked))
        else:
            self._process = process or OtherProcess(__name__)
        sent = design if isinstance(design, bytes) else None
        self._thread = Thread(target=self._hand_out, args=(sent,), daemon=True)
        self._thread.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._process.kill()
        self._thread.join()
        self._process.close()

    def files(self) -> dict[str, tuple[str, ...]]:
        """Wait for it and put its files into the folder of the run; return them by product."""
        self._thread.join()
        self._process.kill()  # what it holds is let go of while its files are put in their places
        if self._fault is not None:
            raise self._fault
        for name, files in self._files.items():
            for file in files:
                place = self.folder / file
                place.parent.mkdir(parents=True, exist_ok=True)
                (self.folder / BESIDE / name / file).replace(place)
        shutil.rmtree(self.folder / BESIDE, ignore_errors=True)
        return self._files

    def _hand_out(self, design: bytes | None) -> None:
        """Give it one product after the other until none is left, or it cannot make one.

        Args:
            design: that it is sent first; None where it has it.
        """
        while (product := take(self.waiting.pop)) is not None:
            try:
                self.progress(product.name)
                if design is not None:
                    self._process.send(design)
                    design = None
                made = self._process.ask((product, self.folder / BESIDE / product.name))
            except (EOFError, OSError):
                made = None
            except Exception as error:
                self._fault = error
                return
            if made is None:
                self.waiting.appendleft(product)
                return
            self._files[product.name] = made


def take(one: Callable[[], Product]) -> Product | None:
    """The product that ``one`` takes from those that wait; None when nothing is left."""
    try:
        return one()
    except IndexError:
        return None


# -- how a design goes over -----------------------------------------------------------------------


class _Pickler(pickle.Pickler):
    """Takes along what a design is, and leaves what is kept only to be found again."""

    def reducer_override(self, value: Any) -> Any:
        """How to write what does not go over by itself."""
        if type(value) is MappingProxyType:
            return _proxy, (dict(value),)
        if type(value) is Kept:
            return Kept, ()
        if isinstance(value, Design):
            how = value.__reduce_ex__(pickle.HIGHEST_PROTOCOL)
            return (*how[:2], _told(value))
        if not isinstance(value, type) and OWN_CONTENT in getattr(value, "__dict__", ()):
            how = value.__reduce_ex__(pickle.HIGHEST_PROTOCOL)
            state = {k: v for k, v in value.__dict__.items() if k != OWN_CONTENT}
            return (*how[:2], state)
        return NotImplemented


def _told(design: Design) -> dict[str, Any]:
    """What a design is and what rooms below worked out of it; of what others keep, the findings.

    The rest of that may hold functions of this process, and is worked out again where it is asked.
    """
    state = {k: v for k, v in vars(design).items() if k != "makeable"}
    kept = state["_worked_out"].items()
    found = {k: v for k, v in kept if isinstance(k, tuple) and k[0] == "findings"}
    return {**state, "_worked_out": found}


def _proxy(values: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(values)


class StaysHereError(TypeError):
    """A design holds what cannot go over: a script's own function or class, say."""


def packed(design: Design) -> bytes:
    """A design as bytes, with what was worked out of it.

    Raises:
        StaysHereError: it holds what cannot go over; names it.
    """
    try:
        return _dumped(design)
    except _NOT_PICKLED as exc:
        for name, value in _told(design).items():
            try:
                _dumped(value)
            except _NOT_PICKLED as why:
                raise StaysHereError(
                    f"what the design keeps as {name!r} stays here: {why}"
                ) from exc
        raise StaysHereError(f"the design stays here: {exc}") from exc


_NOT_PICKLED = (pickle.PicklingError, AttributeError, TypeError)


def _dumped(value: object) -> bytes:
    stream = io.BytesIO()
    _Pickler(stream, pickle.HIGHEST_PROTOCOL).dump(value)
    return stream.getvalue()


# -- what a copy needs not work out again ---------------------------------------------------------


LOADED_BY_BOTH = (
    "PIL.ImageDraw", "PIL.PngImagePlugin", "cagekit.shop.papers.order", "cagekit.view.overview",
    "cagekit.writers.csv",
)  # fmt: skip
"""Modules that products of either process load, with what they import."""


def work_out_for_both(design: Design) -> None:
    """Load and work out what products of either process need, while there is one.

    It keeps either waiting as long as each would take to do it, and one of them saves that.
    """
    from cagekit.view.extents import cage_box

    cage = design.cage
    measure_saddles(joint.cut for joint in cage.joints)
    for id_ in cage.members:
        cage.wall(id_)
    if cage.members:
        cage_box(cage)  # for this: the outsides of tubes, the meshes of plates
    for module in LOADED_BY_BOTH:
        import_module(module)


# -- the second process's side --------------------------------------------------------------------


def serve(names: str) -> None:
    """Make products until the caller goes; load those of ``names`` first, the last of them first.

    Who starts it when the design is there gives it no names: it loads what it is handed.
    """
    # as in the first process: most of what is made lives until the end
    gc.set_threshold(250_000, 20, 50)
    if names:
        for product in reversed(chosen(names.split(","))):
            product.load()
    gc.freeze()  # what was loaded: no look at it frees anything
    answers = answers_to_caller()
    design: Design = pickle.loads(heard())
    answer_all(answers, lambda asked: _made(design, *asked))


def _made(design: Design, product: Product, folder: Path) -> tuple[str, ...] | None:
    """Files of a product that is made here; None when it cannot be, or goes on being checked."""
    try:
        folder.mkdir(parents=True)
        files, check = product.write(design, folder)
    except Exception:
        return None
    if check is not None:
        check.close()
        return None
    return files

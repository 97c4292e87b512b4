"""One build under change: versions, undo and redo, saving, and following the files on disk.

All pages that are open look at the same session. A version is a set of changes laid on the files
as they were read; a version that cannot be made keeps the last good cage and tells why.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import UNSET, Struct
from msgspec.structs import replace

from cagekit.cage.kept import Kept
from cagekit.design import Design
from cagekit.errors import CagekitError, InputError
from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver
from cagekit.inputs.plausible import require_plausible
from cagekit.inputs.presets import shown
from cagekit.inputs.resolve import load_build
from cagekit.inputs.toml_lines import line_map
from cagekit.inputs.usual import any_unusual, require_possible
from cagekit.live.document import Document, validated
from cagekit.live.offered import Offered
from cagekit.live.scene import Drawn, Scene
from cagekit.names import error_words
from cagekit.page.data import Json, doors, texts
from cagekit.page.rows import changed_rows, finding_rows
from cagekit.view.scene import bodies, plate_bodies

if TYPE_CHECKING:
    from pydantic import BaseModel

    from cagekit.checks.quantities.survey import Asked
    from cagekit.inputs.build import Build
    from cagekit.live.beside import SecondProcess
    from cagekit.live.params import Param
    from cagekit.units import LengthUnit

Changes = Mapping[str, Any]
"""Values by the key of their parameter; ``UNSET`` where the file is no longer to say one."""

Stamp = tuple[int, int, int, int]
"""When a file was written, its size, which one it is, and who may read it."""

MANY = 200
"""Versions that can be undone."""
NO_SHEET: tuple[None, Mapping[Any, Any], None] = (None, {}, None)
BREATH = 2.0
"""So long (s) findings wait for an answer that is on its way."""


class _OvertakenError(Exception):
    """What is judged is no longer what is shown."""


class Base(Struct, frozen=True, kw_only=True):
    """A build as its files say it, and the files that can be changed."""

    design: Design
    documents: Mapping[str, Document]
    offered: Offered

    @property
    def params(self) -> Mapping[str, Param]:
        """Every parameter that was offered, by key."""
        return self.offered.known


class Session:
    """See the module; all methods may be called from any thread.

    Args:
        reference: of the build.
        build: what was read there, when it was read already.
        units: of the page, when not the build's.
        patience: so long (s) the first findings wait until a page has its first picture.
        settled: done once, when all of the first version is told.
        helped: a second process measures a part of every version after the first.

    ``design`` is what is shown; while a slider moves its plates come after its tubes. ``whole`` is
    the last one of which everything could be made.
    """

    def __init__(
        self,
        reference: str,
        *,
        build: Build | None = None,
        units: LengthUnit | None = None,
        patience: float = 0.0,
        settled: Callable[[], None] | None = None,
        helped: bool = False,
    ) -> None:
        self._settled = settled
        self._helped = helped
        self._beside: SecondProcess | None = None
        self._shares: tuple[list[Asked], list[Asked]] = ([], [])
        self._reference, self._units = reference, units
        self.lock = threading.RLock()
        self._kept = Kept()
        self._meant: tuple[Any, ...] = ()
        self._sheets: dict[str, tuple[Document | None, Mapping[Any, Any], Any]] = {}
        self.base = self._read(build)
        self.design = self.base.design
        self.whole = self.design
        # the first picture is like one of a slider that moves: exact edges and masses come after it
        self.stage = Drawn.PLATES if patience else Drawn.WHOLE
        self._hasty_texts = bool(patience)
        self.scene = Scene()
        self.history: list[Changes] = [{}]
        self.at = 0
        self.saved: Changes = {}
        self.version = 1
        self.problem = ""
        self.trouble = ""
        self.findings: list[Json] = []
        self.judged = 0
        self.making = ""
        self._told = 0
        self._made: tuple[Base, Changes] | None = None
        self._strength: tuple[Design, Json] | None = None
        self._straining = self._hasty = False
        self._dragged = ("", 0)
        self._broken = (0, "")
        self._on_disk: dict[str, bytes] = {}
        self._listeners: list[queue.Queue[Json]] = []
        self._fresh = threading.Event()
        self._stop = threading.Event()
        self._patience = patience
        self._asked = 0
        self._answered, self._calm = threading.Event(), threading.Event()
        self._calm.set()
        _ = self.design.cage
        self._stamps = self._stamped()
        self._threads = [
            threading.Thread(target=t, daemon=True) for t in (self._judge, self._watch)
        ]
        self._kept.pause = self._breathe
        self._fresh.set()
        for thread in self._threads:
            thread.start()

    def _read(self, build: Build | None = None) -> Base:
        build = build or load_build(self._reference)
        design = Design(build, units=self._units, kept=self._kept)
        _ = design.people  # versions take them over
        documents = {"build": Document(build.files["build"])}
        documents["car"] = Document(build.files[f"car {build.file.car}"])
        for n, name in enumerate(build.file.drivers):
            documents[f"driver {n}"] = Document(build.files[f"driver {name}"])
        return Base(design=design, documents=documents, offered=Offered(build, documents))

    def close(self) -> None:
        """Tell every page that the server stops, and stop."""
        self.tell({"stopped": True})
        self._stop.set()
        self._answered.set()
        self._fresh.set()
        with self.lock:
            self._helped = False
            if self._beside is not None:
                self._beside.close()

    def answered(self, seconds: float) -> None:
        """Wait until no page waits for an answer, but not longer than this."""
        self._calm.wait(seconds)

    # --- pages --------------------------------------------------------------------------------

    def listen(self) -> queue.Queue[Json]:
        """What is told from now on."""
        heard: queue.Queue[Json] = queue.Queue()
        with self.lock:
            self._listeners.append(heard)
        return heard

    def forget(self, heard: queue.Queue[Json]) -> None:
        """A page has gone."""
        with self.lock:
            if heard in self._listeners:
                self._listeners.remove(heard)

    def tell(self, message: Json) -> None:
        """Tell every page; its number tells pages which answers are older."""
        with self.lock:
            self._told += 1
            message["told"] = self._told
            for heard in self._listeners:
                heard.put(message)

    def state(self, have: int = 0, *, brief: bool = False) -> Json:
        """All that a page shows; meshes only of bodies that version ``have`` did not show.

        With ``brief`` its texts are left out where ``have`` had the same bodies: pages hear them
        as soon as they are worked out, before the findings.
        """
        with self.lock:
            design = self.design
            alike = brief and not self.problem and self.scene.alike(design, have, self.stage)
            if not alike and self.stage == Drawn.TUBES:
                self._settle()
                design = self.design
            rows = self.scene.rows(design, self.version, have, self.stage)
            out = self._standing() | rows | {"stage": self.stage}
            if not alike and self._hasty_texts:
                out |= design.once("first texts", partial(texts, weighed=False))
            elif not alike:
                out |= design.once("texts", texts)
            out["weighed"] = not self._hasty_texts
            found = self._strength
            out["strength"] = found[1] if found and found[0] is design else None
            if have == 0:
                out["params"] = [p.to_json() for p in self.base.offered.rows]
                out |= {"findings": self.findings, "judged": self.judged}
            return out

    def hello(self) -> Json:
        """What a page that listens from now on must have, or ask for."""
        with self.lock:
            told = {"version": self.version, "judged": self.judged}
            return told | {"stage": self.stage, "weighed": not self._hasty_texts}

    def still(self) -> bytes:
        """A picture of what is shown as PNG, for browsers that cannot draw it."""
        from cagekit.writers.report import still

        with self.lock:
            self._settle()
            design = self.design
        return design.once("still", still)

    def _standing(self) -> Json:
        """Where the session stands: version, changes, what can be undone, what is wrong."""
        now = self.changes
        known = self.base.params
        changed = []
        for k, v in now.items():
            p = known.get(k)
            was = "worked out" if p is None or p.value is None else p.value
            what = f"{p.owner}: {p.name.replace('_', ' ')}" if p else k
            unit, typed, at = (p.unit, p.typed, p.number(v)) if p else ("", "", None)
            row = {"key": k, "what": what, "typed": typed, "was": was, "now": v, "at": at}
            row |= {"unit": unit, "gone": []}
            if p and v is UNSET:
                then = self.base.offered.then.get(k)
                row |= {"now": then, "at": p.number(then), "gone": self._gone(p)}
                row["what"] = f"{p.owner}: {str(p.said[-1]).replace('_', ' ')}"
            changed.append(row)
        return {
            "version": self.version,
            "problem": "\n".join(w for w in (self.trouble, self.problem) if w),
            "changes": changed,
            "canUndo": self.at > 0,
            "canRedo": self.at + 1 < len(self.history),
            "unsaved": dict(now) != dict(self.saved),
            "making": self.making,
            "madeOld": self._made is not None and not self._still_made(*self._made),
            "told": self._told,
            "offered": self.base.offered.count,
            "broken": self._broken[1] if self._broken[0] == self.version else "",
        }

    def _still_made(self, base: Base, changes: Changes) -> bool:
        """Whether what was made is what is asked for now."""
        return base is self.base and dict(changes) == dict(self.changes)

    # --- versions -----------------------------------------------------------------------------

    @property
    def changes(self) -> Changes:
        """The changes of the version that is shown."""
        return self.history[self.at]

    def change(self, key: str, value: Any, *, drag: int = 0) -> None:
        """Give a parameter another value.

        Args:
            key: of the parameter.
            value: number in the file's units, text as the file would have it, truth; ``UNSET``
                takes it out of the file; None takes the change back.
            drag: number of the drag that it is on the way of, 0 for none: changes of one drag
                together are one step to undo.
        """
        if value is not UNSET and not isinstance(value, str | int | float | None):
            raise InputError("change", key, problem="is neither a number, nor a word, nor a truth.")
        with self.lock:
            if key not in self.base.params:
                raise InputError("change", "key", key, problem="there is no such parameter.")
            now = self._with(key, value)
            on_its_way = drag and self._dragged == (key, drag)
            again = on_its_way and self.at + 1 == len(self.history) and self.at
            del self.history[self.at + 1 :]
            if again:
                self.history[self.at] = now
            else:
                self.history.append(now)
            del self.history[: max(len(self.history) - MANY, 0)]
            self.at = len(self.history) - 1
            self._dragged = (key, drag)
            self._work_out(quick=bool(drag))

    def _with(self, key: str, value: Any) -> dict[str, Any]:
        """The changes with one more, or one less.

        Raises:
            InputError: the file does not say what is to be taken out, or has to say it.
        """
        asked, now = self.base.params[key], {**self.changes, key: value}
        if value is None:
            del now[key]
            return now
        if asked.as_in_file(value):
            del now[key]
        if value is UNSET and not asked.said:
            raise InputError(
                asked.typed, problem="the file does not say it, or cannot do without it.",
                hint="Give it another value.",
            )  # fmt: skip
        # of a point that is taken out no number can be another
        for other in self._gone(asked) if asked.said else ():
            if other != key and (value is UNSET or now.get(other) is UNSET):
                now.pop(other, None)
        return now

    def _gone(self, param: Param) -> list[str]:
        """What goes when the field that holds a parameter is taken out of its file."""
        return [
            k for k, p in self.base.params.items() if (p.file, p.said) == (param.file, param.said)
        ]

    def undo(self) -> None:
        """Go back one version."""
        self._go(-1)

    def redo(self) -> None:
        """Go forward one version again."""
        self._go(1)

    def _go(self, by: int) -> None:
        with self.lock:
            self.at = min(max(self.at + by, 0), len(self.history) - 1)
            self._dragged = ("", 0)
            self._work_out()

    def _work_out(self, *, quick: bool = False) -> None:
        """Make the version that is asked for, or keep the last good one and say why not.

        Args:
            quick: the plates may come later where only tubes change their shape.
        """
        try:
            design = self._design(self.changes)
            _ = design.tubes
            stage = Drawn.TUBES if quick and self.scene.follows(design) else Drawn.WHOLE
            self._prepare(design, stage)
            self.base.offered.follow(self.changes)
        except CagekitError as error:
            self.problem = error_words(error)
        except Exception as error:  # the page must live on, whatever a value brings to light
            self.problem = _fault(error)
        else:
            self.problem = ""
        self._show()

    def _prepare(self, design: Design, stage: Drawn) -> None:
        """Work out what a stage shows of a design, and show it.

        Raises:
            CagekitError: something cannot be made.
        """
        if stage > Drawn.TUBES:
            _ = design.cage
        self.scene.prepare(design, stage)
        self.design, self.stage = design, stage
        if stage > Drawn.TUBES:
            self.whole = design

    def _settle(self) -> None:
        """Make the plates that are still to come, now; called under the lock."""
        if self.stage > Drawn.TUBES:
            return
        try:
            self._prepare(self.design, Drawn.PLATES)
        except CagekitError as error:
            self._fall_back(error_words(error))
        except Exception as error:  # as above
            self._fall_back(_fault(error))

    def _fall_back(self, problem: str) -> None:
        """Show the last version that could be made whole, and tell why."""
        self.problem = self.problem or problem
        self.design, self.stage = self.whole, Drawn.WHOLE
        self._show()

    def _show(self) -> None:
        """Make what is there now a version of its own."""
        self.version += 1
        self._fresh.set()
        self.tell({"version": self.version})

    def _design(self, changes: Changes) -> Design:
        base = self.base
        if not changes:
            return base.design
        by_file: dict[str, dict[Any, Any]] = {}
        for key, value in changes.items():
            param = base.params[key]
            by_file.setdefault(param.file, {})[param.where(value)] = value
        build = base.offered.build_with(by_file.get("build", {}))
        drivers = list(build.drivers)
        for n, _ in enumerate(drivers):
            if on_driver := by_file.get(f"driver {n}"):
                drivers[n] = self._sheet(f"driver {n}", on_driver, Driver)
        car: Any = build.car
        if on_car := by_file.get("car"):
            car = self._sheet("car", on_car, Car)
        if drivers != list(build.drivers):
            build = replace(build, drivers=tuple(drivers))
        if car is not build.car:
            build = replace(build, car=car)
        if by_file.keys() - {"build"} and self._meant != (car, *drivers):
            self._require_meant(build, by_file)
            self._meant = (car, *drivers)
        told = {k: None if changes[k] is UNSET else changes[k] for k in sorted(changes)}
        options = {"changed": told}
        return base.design.of_build(build, options=options)

    def _require_meant(self, build: Build, by_file: Mapping[str, Mapping[Any, Any]]) -> None:
        """Refuse a car and people that `check` would not read: they could be saved."""
        documents = self.base.documents
        people = [documents[f"driver {n}"].path for n, _ in enumerate(build.drivers)]
        now = {documents[f].path: documents[f].changed(v) for f, v in by_file.items()}
        require_plausible(build.car, build.drivers, documents["car"].path, people, now)

    def _sheet(self, file: str, values: Mapping[Any, Any], model: type[BaseModel]) -> Any:
        """A car or a driver with values changed: one object as long as these are the same."""
        document, (of, had, sheet) = self.base.documents[file], self._sheets.get(file, NO_SHEET)
        if of is not document or had != values:
            sheet = validated(document, values, model)
            _require_possible(document, file.partition(" ")[0], values, sheet)
            self._sheets[file] = document, values, sheet
        return sheet

    # --- findings -----------------------------------------------------------------------------

    @contextmanager
    def answering(self) -> Iterator[None]:
        """While a page waits for its answer the findings wait too: the picture comes first."""
        with self.lock:
            self._asked += 1
            self._calm.clear()
        try:
            yield
        finally:
            self._answered.set()
            with self.lock:
                self._asked -= 1
                if not self._asked:
                    self._calm.set()

    def _look_ahead(self) -> None:
        """Work out the first picture and its texts while the browser is still starting."""
        if self._patience:
            with self._at_once(), suppress(Exception):  # told to the page that asks
                self.state()

    def _judge(self) -> None:
        """Finish and judge every new version; an older one is dropped on the way."""
        self._look_ahead()
        self._answered.wait(self._patience)
        while not self._stop.is_set():
            self._fresh.wait()
            self._fresh.clear()
            with self.lock:
                design, version, stage = self.design, self.version, self.stage
                base = self.base.design
            try:
                from cagekit.checks import run
                from cagekit.checks.quantities.survey import Survey
                from cagekit.live.beside import shares

                self._breathe()
                beside = self._ask_beside(design, version, base)
                if stage == Drawn.TUBES:
                    self._finish(design, version, Drawn.PLATES)
                survey = design.once("survey", Survey)
                survey.pause = self._breathe
                if beside is not None:
                    survey.measure(self._shares[0])
                    survey.take(beside.answer(version, self._breathe))
                rows = finding_rows(run(design), design.units, design.kept)
                if self._helped:
                    self._shares = shares(survey.found)
            except _OvertakenError:
                continue
            except CagekitError as error:
                self._broke(version, error_words(error))
            except Exception as error:  # later versions are judged all the same
                self._broke(version, _fault(error))
            else:
                self._judged(design, version, rows)
            finally:
                # it holds the design that holds it: a version that is gone would wait for the
                # collector with all its arrays
                design.forget("survey")
            self._tell_rest(design, version, stage)
            self._start_beside(base)
            if self._settled:
                self._settled()
                self._settled = None

    def _start_beside(self, base: Design) -> None:
        """Start the second process, or one anew where the files have changed."""
        with self.lock:
            there = self._beside
            # one that ended by itself is not tried again before the files change
            if not self._helped or (there and there.measures_versions_of(base)):
                return
            if there:
                there.close()
            from cagekit.live.beside import SecondProcess

            self._beside = SecondProcess(base)

    def _ask_beside(self, design: Design, version: int, base: Design) -> SecondProcess | None:
        """Let the second process measure its part of a version, where there is one."""
        there = self._beside
        if there is None or not (there.answers and there.measures_versions_of(base)):
            return None
        there.ask(version, design.build, self._shares[1])
        return there

    def _finish(self, design: Design, version: int, stage: Drawn) -> None:
        """Bring the picture of a version to a further stage, and tell it."""
        try:
            if stage == Drawn.PLATES:
                for _ in plate_bodies(design.cage):
                    self._breathe()
            else:
                bodies(design.cage)
        except CagekitError as error:
            with self.lock:
                if self.design is design:
                    self._fall_back(error_words(error))
            raise _OvertakenError from error
        with self._at_once():
            if self.version != version:
                return
            if self.stage < stage:
                self._prepare(design, stage)
            rows = self.scene.rows(design, version, version, self.stage)
            told = {k: rows[k] for k in ("bodies", "triangles")}
            self.tell(told | {"of": version, "stage": self.stage})

    def _tell_rest(self, design: Design, version: int, stage: Drawn) -> None:
        """Tell exact meshes where ``stage`` had rough ones, then cards, sizes and lines of text."""
        self._hasty_texts = False
        try:
            self._breathe()
            if stage < Drawn.WHOLE:
                self._finish(design, version, Drawn.WHOLE)
            self.tell({"texts": design.once("texts", texts), "of": version})
        except _OvertakenError:
            return
        except CagekitError as error:
            self._broke(version, error_words(error))
        except Exception as error:  # as above
            self._broke(version, _fault(error))

    def _broke(self, version: int, words: str) -> None:
        """Tell that a version was not checked, or not told of, and why."""
        self._broken = (version, words)
        self.tell({"trouble": words, "of": version})

    def _breathe(self) -> None:
        """Let a page have its answer first, and break off what a newer version has overtaken."""
        if threading.get_ident() != self._threads[0].ident or self._hasty:
            return
        if not self._calm.is_set():
            self._calm.wait(BREATH)
        if self._fresh.is_set() or self._stop.is_set():
            raise _OvertakenError

    @contextmanager
    def _at_once(self) -> Iterator[None]:
        """The lock for whoever judges: an answer may wait for it, so nobody is let go first."""
        with self.lock:
            self._hasty = True
            try:
                yield
            finally:
                self._hasty = False

    def _judged(self, design: Design, version: int, rows: list[Json]) -> None:
        swings = doors(design) if design.cage.doors else []
        with self.lock:
            told = {"findings": changed_rows(rows, self.findings), "after": self.judged}
            self.findings, self.judged = rows, version
            self.scene.doors = swings
            self.tell(told | {"judged": version, "doors": swings})

    def work_strength(self) -> None:
        """Work out the strength of what is shown, in a thread of its own; pages are told.

        Raises:
            InputError: it is being worked out already, or the version cannot be made.
        """
        with self.lock:
            if self._straining:
                raise InputError("strength", problem="is being worked out already.")
            self._settle()
            if self.problem:
                raise InputError("strength", problem="needs a cage that can be made.")
            self._straining = True
            design = self.design
        threading.Thread(target=self._strain, args=(design,), daemon=True).start()

    def _strain(self, design: Design) -> None:
        from cagekit.page.strength import strength_data

        try:
            data = strength_data(design)
        except CagekitError as error:
            data = {"problem": error_words(error), "cases": []}
        except Exception as error:  # the page must live on
            data = {"problem": _fault(error), "cases": []}
        with self.lock:
            self._straining = False
            self._strength = (design, data)
            current = self.design is design
            self.tell({"strength": data if current else None, "of": self.version})

    # --- files --------------------------------------------------------------------------------

    def save(self) -> str:
        """Write every changed file; returns a line that says which.

        Raises:
            InputError: a file came with cagekit, is gone or changed meanwhile; nothing is written.
        """
        with self.lock:
            self._settle()
            if self.problem:
                raise InputError(
                    "save", problem="what is typed cannot be made and was not written.",
                    hint="Undo it or type another value, then save.",
                )  # fmt: skip
            touched = {self.base.params[k].file for k in {*self.changes, *self.saved}}
            for file in touched:
                self.base.documents[file].refuse_shipped()
                self.base.documents[file].refuse_changed(self._on_disk.get(file))
            written = []
            for file in sorted(touched):
                document = self.base.documents[file]
                values = {
                    p.where(v): v for k, v in self.changes.items()
                    if (p := self.base.params[k]).file == file
                }  # fmt: skip
                self._on_disk[file] = document.save(values, self._on_disk.get(file))
                written.append(shown(document.path))
            self.saved = dict(self.changes)
            self._stamps = self._stamped()
            # a version of its own, so that other pages ask for it; its findings are told again
            self._show()
            return f"Saved {', '.join(written)}." if written else "Nothing was changed."

    def _stamped(self) -> dict[Path, Stamp | None]:
        return {path: _stamp(path) for path in self.design.files.values()}

    def _watch(self) -> None:
        """Follow the files: what an editor writes is on the page within a second."""
        while not self._stop.wait(0.4):
            with self.lock:
                now = {path: _stamp(path) for path in self._stamps}
                # what a file names and is not there yet has no stamp
                if now != self._stamps or self.trouble:
                    self._stamps = now
                    self.follow()

    def follow(self) -> None:
        """Read the files again; changes that were not saved stay on top."""
        with self.lock:
            left = {k: v for k, v in self.changes.items() if self.saved.get(k, self) != v}
            unsaid = {k for k, v in left.items() if v is UNSET}
            before, self.trouble = self.trouble, ""
            try:
                self.base = self._read()
            except CagekitError as error:
                self.trouble = error_words(error)
            except Exception as error:  # the watching must live on, whatever lies there
                self.trouble = _fault(error)
            if self.trouble:
                if self.trouble != before:
                    self.version += 1
                    self.tell({"version": self.version})
                return
            known = self.base.params
            for key in unsaid:  # the file may say it no more, or has to by now
                if key not in known or not known[key].said:
                    del left[key]
            self.base.offered.follow(left)
            left = {k: v for k, v in left.items() if k in self.base.params}
            self.saved, self._on_disk = {}, {}
            self.history, self.at = ([{}, left], 1) if left else ([{}], 0)
            self._stamps = {path: _stamp(path) for path in self.base.design.files.values()}
            self.tell({"files": True})
            self._work_out()

    # --- make ---------------------------------------------------------------------------------

    def make(self, target: Path, *, done: Callable[[], None] = lambda: None) -> None:
        """Make all products in a thread of its own; pages are told every step.

        Raises:
            InputError: one is being made already, or the version cannot be made.
        """
        with self.lock:
            if self.making:
                raise InputError("make", problem="is at work already.", hint="Wait for its end.")
            self._settle()
            if self.problem:
                raise InputError("make", problem="this version cannot be made.", hint=self.problem)
            self.making = "starting"
            design, self._made = self.design, (self.base, self.changes)
        threading.Thread(target=self._make, args=(design, target, done), daemon=True).start()

    def _make(self, design: Design, target: Path, done: Callable[[], None]) -> None:
        from cagekit.make.products import PRODUCTS
        from cagekit.make.run import make

        count = 0

        def step(name: str) -> None:
            nonlocal count
            count += 1
            self.making = f"making {name} ({count} of {len(PRODUCTS)})"
            self.tell({"making": self.making})

        try:
            made = make(design, target, progress=step)
            files = sum(len(f) for f in made.files.values())
            last = f"Made {files} files in {target}/."
            if made.left_out:
                last += f" Left out of the solids: {', '.join(made.left_out)}."
        except CagekitError as error:
            last = f"Not made: {error_words(error)}"
        except OSError as error:
            last = f"Not made: {error}"
        except Exception as error:  # the page must live on
            last = f"Not made: {_fault(error)}"
        self.making = ""
        self.tell({"making": "", "made": last})
        done()


def _fault(error: Exception) -> str:
    return f"a fault in cagekit itself: {type(error).__name__}: {error}"


def _stamp(path: Path) -> Stamp | None:
    try:
        stat = path.stat()
    except OSError:
        return None
    return stat.st_mtime_ns, stat.st_size, stat.st_ino, stat.st_mode


def _require_possible(
    document: Document, kind: str, values: Mapping[Any, Any], sheet: BaseModel
) -> None:
    if any_unusual(kind, sheet):
        file, lines = shown(document.path), line_map(document.text)
        require_possible(kind, sheet, file=file, data=document.changed(values), lines=lines)

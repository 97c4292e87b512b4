"""Presets: where they lie, how they are found by name, and how they are read.

A preset is a TOML file in the folder of its kind. Folders are searched in this order: the path
as given, ``./presets``, the user's own folder, what cagekit ships.
"""

from __future__ import annotations

import os
import re
import sys
from codecs import BOM_UTF16_BE, BOM_UTF16_LE
from collections.abc import Iterable, Iterator, Mapping, Sequence
from errno import ELOOP, ENAMETOOLONG
from functools import cache, lru_cache
from importlib import import_module
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import tomli
from msgspec import Struct

from cagekit.errors import InputError, NotFoundError
from cagekit.hints import did_you_mean
from cagekit.inputs.messages import (
    FileInputError,
    Problem,
    faults,
    problems_of,
    shorten,
    table_and_field,
)
from cagekit.inputs.most import too_many
from cagekit.inputs.toml_lines import TomlKey, line_map, line_of, value_at

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

FOLDERS: Mapping[str, str] = {
    "build": "builds",
    "car": "cars",
    "driver": "drivers",
    "tube": "tubes",
    "tooling": "tooling",
    "layout": "layouts",
    "rules": "rules",
    "plate": "plates",
    "loads": "loads",
}
"""Folder of each kind of preset."""

HERE = Path("presets")
"""Folder of presets beside whoever calls."""
LARGEST = 2_000_000
"""Bytes; a preset is a page or two of text, so a larger file is a mistake."""

_KINDS = "|".join(FOLDERS)
_OURS = re.compile(rf"^\s*kind\s*=\s*[\"']({_KINDS})[\"']?\s*(?:#|$)", re.MULTILINE)
"""What tells a file of ours before it can be read: its kind."""

M = TypeVar("M", bound="BaseModel")


class Preset(Struct, frozen=True, kw_only=True):
    """One preset file; ``origin`` tells where it was found: ``here``, ``yours`` or ``shipped``."""

    kind: str
    name: str
    path: Path
    origin: str


@cache
def shipped_root() -> Path:
    """Return the folder of shipped presets: inside the wheel, or beside it in a checkout."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "presets"
    return inside if inside.is_dir() else package.parent / "presets"


def user_root() -> Path:
    """Return the folder for the user's own presets; it need not exist."""
    if sys.platform == "win32":
        return _user_root(os.environ.get("APPDATA"), os.environ.get("USERPROFILE"))
    return _user_root(os.environ.get("XDG_CONFIG_HOME"), os.environ.get("HOME"))


@lru_cache(maxsize=8)
def _user_root(base: str | None, _: str | None) -> Path:
    """The same as long as what it hangs on is the same."""
    settings = ("AppData", "Roaming") if sys.platform == "win32" else (".config",)
    return (Path(base) if base else Path.home().joinpath(*settings)) / "cagekit" / "presets"


def roots() -> Iterator[Path]:
    """The folders that are searched for names, the first to win first."""
    yield HERE
    yield user_root()
    yield shipped_root()


@lru_cache(maxsize=512)
def _file(root: Path, kind: str, name: str) -> Path:
    """The file that a preset has below a root: every version of a build asks for the same few."""
    return root / FOLDERS[kind] / f"{name}.toml"


def list_presets(kind: str | None = None) -> list[Preset]:
    """Return every preset (of one kind), by kind and name; the first found of a name counts."""
    found: dict[tuple[str, str], Preset] = {}
    in_checkout = Path("presets").resolve() == shipped_root()
    origins = "shipped" if in_checkout else "here", "yours", "shipped"
    for one in [_known(kind)] if kind else FOLDERS:
        for origin, root in zip(origins, roots(), strict=True):
            for path in _tomls(root / FOLDERS[one]):
                row = Preset(kind=one, name=path.stem, path=path, origin=origin)
                found.setdefault((one, path.stem), row)
    order = list(FOLDERS)
    return sorted(found.values(), key=lambda p: (order.index(p.kind), p.name))


def find_preset(
    kind: str, ref: str, *, beside: Path | None = None, more: Iterable[str] = ()
) -> Path:
    """Return the file of a preset.

    Args:
        kind: ``car``, ``driver``, ``tube``, ``tooling``, ``layout``, ``rules``, ``plate``,
            ``loads``, ``build``.
        ref: a name such as ``sprint-wagon``, or a path (anything with ``/`` or ``.toml``).
        beside: folder of the file that names it; a relative path is tried from there first.
        more: names that would do too, without a file.

    Raises:
        NotFoundError: no such file or preset; tells the closest names.
    """
    _known(kind)
    if _is_path(ref):
        return _as_path(kind, ref, beside)
    if ref and ref not in (".", ".."):
        for root in roots():
            path = _file(root, kind, ref)
            if _is_seen(path):
                return path
    names = dict.fromkeys((*(p.name for p in list_presets(kind)), *more))
    raise NotFoundError(
        f"{kind} {shorten(ref)}: there is no such preset. {did_you_mean(ref, names)}".rstrip()
        + " A path to a file of your own ends in .toml."
    )


def find_any(ref: str) -> tuple[str, Path]:
    """Return kind and file of a preset whose kind is not given.

    A name that several kinds share means the first in the order of ``FOLDERS``; write
    ``car/sprint-wagon`` for another.

    Raises:
        NotFoundError: nothing has that name; tells the closest names.
    """
    kind, slash, name = ref.partition("/")
    if slash and not ref.endswith(".toml"):
        for one, folder in FOLDERS.items():
            if kind in (one, folder):
                return one, find_preset(one, name)
    if _is_path(ref):
        path = _as_path("preset", ref, None)
        return str(read_toml(path)[0].get("kind", "")), path
    hits = [p for p in list_presets() if p.name == ref]
    if hits:
        return hits[0].kind, hits[0].path
    names = {p.name for p in list_presets()}
    raise NotFoundError(
        f"{shorten(ref)}: there is no such preset. {did_you_mean(ref, names)}".rstrip()
    )


def load(kind: str, ref: str, model: type[M], *, beside: Path | None = None) -> M:
    """Find, read and validate a preset; see ``find_preset`` and ``load_file``.

    Args:
        kind: kind of preset, the name of its folder.
        ref: name or path.
        model: of the file.
        beside: folder that a path is relative to.
    """
    return load_file(kind, find_preset(kind, ref, beside=beside), model)


def load_file(kind: str, path: Path, model: type[M]) -> M:
    """Read and validate one file.

    Numbers without a unit count in the file's own ``units``, which the model gets as validation
    context ``{"units": ...}``.

    Args:
        kind: kind of preset, the name of its folder.
        path: of the file.
        model: of the file.

    Raises:
        FileInputError: the file cannot be read, is not TOML, is of another kind or has faults;
            all faults at once, each with its line.
    """
    from pydantic import ValidationError

    from cagekit.inputs.usual import any_unusual, require_possible

    data, text = read_toml(path)
    _require_kind(kind, data, text, path)
    _require(path, text, _not_finite(data))
    _require(path, text, too_many(kind, data), hint="Leave out what the cage does not need.")
    units = data.get("units", "mm")
    context = {"units": units if units in ("mm", "in") else "mm", "path": str(path)}
    try:
        found = model.model_validate(data, context=context)
    except ValidationError as error:
        # only now: finding the lines takes longer than reading the file
        lines = line_map(text)
        wrong = problems_of(error, model, data, file=shown(path), lines=lines)
        raise FileInputError(wrong) from None
    if any_unusual(kind, found):
        require_possible(kind, found, file=shown(path), data=data, lines=line_map(text))
    return found


def unusual_in(kind: str, path: Path, model: BaseModel) -> tuple[str, ...]:
    """Return a remark on every number of a file, read before, that is not usual.

    Args:
        kind: kind of preset, the name of its folder.
        path: of the file.
        model: what was read.
    """
    from cagekit.inputs.usual import any_unusual, unusual

    if not any_unusual(kind, model):
        return ()
    data, text = read_toml(path)
    found = unusual(kind, model, file=shown(path), data=data, lines=line_map(text))
    return tuple(str(problem) for problem in found)


def _require_kind(kind: str, data: Mapping[str, Any], text: str, path: Path) -> None:
    """Refuse a file of another kind; one that is none of ours is not quoted."""
    says = data.get("kind")
    if says is None:
        if set(data) <= {i.alias or n for n, i in model_for(kind).model_fields.items()} | {"side"}:
            return  # one of ours that leaves its kind out
        raise _fault(path, f'is no {kind} file: it does not say kind = "{kind}".', 1)
    if says == kind:
        return
    line = line_of(line_map(text), ("kind",))
    if isinstance(says, str) and says in FOLDERS:
        raise _fault(path, f"this file is a {shorten(says)}, a {kind} is needed here.", line)
    near = did_you_mean(str(says)[:40], FOLDERS, what="Kinds")
    raise _fault(path, f"its kind is none of cagekit's, a {kind} is needed here.", line, near)


def _require(
    path: Path, text: str, wrong: Iterable[tuple[TomlKey, str]], *, hint: str = ""
) -> None:
    """Refuse a file with what is wrong in it, each with its line."""
    found = list(wrong)
    if found:
        raise faults(shown(path), text, found, hint=hint)


def _not_finite(
    data: Mapping[str, Any] | list[Any], key: TomlKey = ()
) -> Iterator[tuple[TomlKey, str]]:
    """Nan and infinity, wherever they stand: nothing compares with the one or the other."""
    for name, value in enumerate(data) if isinstance(data, list) else data.items():
        if isinstance(value, float):
            if not isfinite(value):
                yield (*key, name), "must be a finite number."
        elif isinstance(value, (dict, list)):  # a union is made anew at each look
            yield from _not_finite(value, (*key, name))


def table_error(
    error: ValidationError,
    model: type[BaseModel] | Sequence[type[BaseModel]],
    table: Mapping[str, Any],
    *,
    path: Path,
    within: TomlKey,
) -> FileInputError:
    """Return all faults of one table of a file that was read before, each with its line.

    Args:
        error: what pydantic found in ``table``.
        model: what the table should be, or the kinds that it may be.
        table: the table as read.
        path: the file.
        within: key of the table in the file, e.g. ``("members", "halo")``.
    """
    try:
        lines = line_map(read_toml(path)[1])
    except FileInputError:  # moved away since, or never was a file
        lines = {}
    found = problems_of(error, model, table, file=shown(path), lines=lines, within=within)
    return FileInputError(found)


def reference_error(error: NotFoundError, path: Path, key: TomlKey) -> FileInputError:
    """Return ``error`` about a name that the file ``path`` gives under ``key``, with its line.

    Args:
        error: what is missing.
        path: file that names it.
        key: where in the file.
    """
    try:
        lines = line_map(read_toml(path)[1])
    except FileInputError:
        lines = {}
    table, field = table_and_field(key)
    line = line_of(lines, key)
    return FileInputError(
        [Problem(file=shown(path), line=line, table=table, field=field, problem=str(error))]
    )


def key_error(
    where: str, key: TomlKey, value: object, problem: str, hint: str = ""
) -> FileInputError:
    """Return an error about one key of a file that was read before, with its line."""
    path = Path(where)
    try:
        tables, text = read_toml(path)
        lines = line_map(text)
    except FileInputError:  # moved away since, or never was a file
        tables, lines = {}, {}
    table, name = table_and_field(key)
    row = Problem(
        file=shown(path),
        line=line_of(lines, key),
        table=table,
        field=name,
        # as it is typed: what was read of it counts in mm and rad
        value=value_at(tables, key, value) if isinstance(value, float) else value,
        problem=problem,
        hint=hint,
    )
    return FileInputError([row])


def read_toml(path: Path) -> tuple[dict[str, Any], str]:
    """Return the tables and the text of a TOML file; FileInputError when it cannot be read.

    Raises:
        FileInputError: it is not there, cannot be read, or is no TOML; with the line.
    """
    try:
        if path.is_dir():
            raise _fault(path, "is a folder, a TOML file is needed.")
        if not _exists(path):
            raise _fault(path, "there is no such file.")
        if _loops(path):
            raise _fault(path, "is a link that leads back to itself; nothing stands at its end.")
        if not path.exists():
            problem = f"is a link to {path.readlink()}, and there is no such file."
            raise FileInputError([Problem(file=str(path), problem=problem)])
        if not path.is_file():
            raise _fault(path, "is not an ordinary file.")
        if path.stat().st_size > LARGEST:
            raise _fault(path, f"is larger than {LARGEST // 1_000_000} MB, so it is no preset.")
        raw = path.read_bytes()
    except OSError as error:
        raise _fault(path, f"cannot be read ({error.strerror or error}).") from None
    if raw.startswith((BOM_UTF16_LE, BOM_UTF16_BE)):
        hint = "Save it as UTF-8 in your editor."
        raise _fault(path, "is a text in UTF-16.", None, hint)
    if b"\0" in raw:
        raise _fault(path, "is a binary file, a TOML text is needed.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        hint = "Save it as UTF-8 in your editor."
        raise _fault(path, "holds a letter that is not UTF-8.", line, hint) from None
    try:
        return tomli.loads(text), text
    except tomli.TOMLDecodeError as error:
        ours = path.resolve().suffix == ".toml" and _OURS.search(text) is not None
        raise _syntax(path, text if ours else "", str(error)) from None
    except ValueError:  # Python reads no number of thousands of digits
        raise _fault(path, "holds a number of too many digits.") from None
    except RecursionError:
        raise _fault(path, "is nested too deeply.") from None


def model_for(kind: str) -> type[BaseModel]:
    """Return the schema of a kind of file."""
    module, _, name = _SCHEMAS[_known(kind)].partition(":")
    model: type[BaseModel] = getattr(import_module(module), name)
    return model


def shown(path: Path) -> str:
    """Return a path as a message shows it: from the working folder if it lies below."""
    try:
        return path.resolve().relative_to(Path.cwd().resolve()).as_posix()
    except (ValueError, OSError, RuntimeError):  # RuntimeError: links that lead round
        return str(path)


def label(path: Path) -> str:
    """Return a name for a file that is the same on every machine: ``cars/sprint-wagon.toml``."""
    if path.parent.name in FOLDERS.values():
        return f"{path.parent.name}/{path.name}"
    return path.name


_SCHEMAS: Mapping[str, str] = {
    "build": "cagekit.inputs.build:BuildFile",
    "car": "cagekit.inputs.car:Car",
    "driver": "cagekit.inputs.driver:Driver",
    "tube": "cagekit.inputs.tube:TubeFile",
    "tooling": "cagekit.inputs.tooling:Tooling",
    "layout": "cagekit.inputs.layout:Layout",
    "rules": "cagekit.inputs.rules:RuleProfile",
    "plate": "cagekit.inputs.plate:PlateFile",
    "loads": "cagekit.inputs.loads:LoadsFile",
}


def _known(kind: str) -> str:
    if kind not in FOLDERS:
        raise InputError(
            "presets",
            "kind",
            kind,
            problem="is no kind of preset.",
            hint=did_you_mean(kind, FOLDERS),
        )
    return kind


def _is_path(ref: str) -> bool:
    return ref.endswith(".toml") or "/" in ref or os.sep in ref


def _as_path(kind: str, ref: str, beside: Path | None) -> Path:
    try:
        given = Path(ref).expanduser() if ref.startswith("~") else Path(ref)
    except RuntimeError:
        raise NotFoundError(f"{kind} {shorten(ref)}: there is no such user's folder.") from None
    tried = [beside / given, given] if beside and not given.is_absolute() else [given]
    for path in tried:
        if _exists(path):
            return path
    near = [p.name for p in _of_kind(kind, list(_tomls(tried[0].parent)))]
    raise NotFoundError(
        f"{kind} {shorten(ref)}: there is no such file. {did_you_mean(given.name, near)}".rstrip()
    )


MOST_READ = 100
"""Of a folder with more files than this all are listed, as reading them would take a while."""


def _of_kind(kind: str, files: Sequence[Path]) -> Iterator[Path]:
    """Those of the files that may be of a kind: they say so, say none, or cannot be read."""
    for path in files:
        if kind in FOLDERS and len(files) <= MOST_READ:
            try:
                if read_toml(path)[0].get("kind", kind) != kind:
                    continue
            except FileInputError:
                pass
        yield path


def _exists(path: Path) -> bool:
    """Whether something has that name: a link that leads nowhere and what nobody may see too."""
    try:
        path.lstat()
    except (FileNotFoundError, NotADirectoryError, ValueError):  # ValueError: a zero byte
        return False
    except OSError as error:
        return error.errno != ENAMETOOLONG
    return True


def _is_seen(path: Path) -> bool:
    """Whether something has that name in a folder that may be looked into: a link's end or not."""
    try:
        path.lstat()
    except (OSError, ValueError):  # another user's folder, a name too long, or with a zero byte
        return False
    return True


def _loops(path: Path) -> bool:
    """Whether links on the way to a file lead round in a circle."""
    try:
        path.stat()
    except OSError as error:
        return error.errno == ELOOP
    return False


def _tomls(folder: Path) -> Iterator[Path]:
    try:
        yield from sorted(p for p in folder.glob("*.toml") if p.is_file())
    except OSError:
        return


def _fault(path: Path, problem: str, line: int | None = None, hint: str = "") -> FileInputError:
    return FileInputError([Problem(file=shown(path), line=line, problem=problem, hint=hint)])


def _syntax(path: Path, text: str, message: str) -> FileInputError:
    """Tell a TOML error with its line, what stands there, and what it was probably meant as."""
    from cagekit.inputs.toml_slips import slip_of

    what, _, place = message.rpartition(" (at ")
    line: int | None = text.count("\n") + 1 if text else None
    if place.startswith("line "):
        line = int(place.split()[1].strip(","))
    rows = text.splitlines()
    there = rows[line - 1].strip() if line is not None and 0 < line <= len(rows) else ""
    if not text:  # none of ours: its words may be in the message too
        return _fault(path, "is not valid TOML.", line, "Is it a preset?")
    problem, cure = slip_of(what or message, there)
    reads = f"It reads: {shorten(there)[1:-1]}" if there else ""
    hint = f"{cure} {reads}".strip()
    return _fault(path, f"is not valid TOML: {problem}.", line, hint)

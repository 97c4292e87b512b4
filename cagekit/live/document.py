"""A file that people write, changed from the page and written back as they wrote it.

Comments, order and spelling of everything that was not touched stay. A file that changed on disk
since it was read is never written over.
"""

from __future__ import annotations

import re
from codecs import BOM_UTF8
from collections.abc import Iterable, Mapping
from os import W_OK, access
from pathlib import Path
from typing import Any, TypeVar

from msgspec import UNSET
from pydantic import BaseModel, ValidationError

from cagekit.errors import InputError, OutputError
from cagekit.inputs.presets import read_toml, shipped_root, shown, table_error
from cagekit.inputs.toml_lines import line_map, value_at
from cagekit.units import INCH, format_length
from cagekit.writers.whole import write_whole

M = TypeVar("M", bound=BaseModel)

Steps = tuple[str | int, ...]
"""Keys and places in lists that lead to a value."""
FINEST = 64
"""Parts of an inch that a fraction is written in at most."""


class Document:
    """One file as it was read; ``data`` its values, ``text`` its text, ``disk`` what lies there."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.data, self.text = read_toml(path)
        self.disk = path.read_bytes()

    @property
    def units(self) -> str:
        """Units of its bare numbers."""
        return str(self.data.get("units", "mm"))

    def changed(self, values: Mapping[Steps, Any]) -> dict[str, Any]:
        """The file's values with some replaced, or taken out where the value is ``UNSET``.

        Tables that are not there are added.
        """
        data: dict[str, Any] = _copied(self.data)
        for steps, value in values.items():
            _set(data, steps, value)
        return data

    def written(self, values: Mapping[Steps, Any]) -> str:
        """The file's text with some values replaced or taken out, everything else as it stands."""
        import tomlkit

        document = tomlkit.parse(self.disk.decode("utf-8-sig"))
        for steps, value in values.items():
            _set(document, steps, self._as_written(steps, value))
        new = [k for k, v in values.items() if v is not UNSET and value_at(self.data, k) is None]
        text = _below_its_own(tomlkit.dumps(document), new)
        if self.disk.count(b"\n") == self.disk.count(b"\r\n") > 0:  # lines that are new end alike
            text = re.sub(r"(?<!\r)\n", "\r\n", text)
        return f"\ufeff{text}" if self.disk.startswith(BOM_UTF8) else text

    def _as_written(self, steps: Steps, value: Any) -> Any:
        """A number of inches as a fraction where the file has a text and nothing is lost by it."""
        if self.units != "in" or isinstance(value, bool) or not isinstance(value, int | float):
            return value
        if not isinstance(value_at(self.data, steps), str) or value * FINEST % 1:
            return value
        return format_length(value * INCH, "in", denominator=FINEST, unit=False)

    def save(self, values: Mapping[Steps, Any], known: bytes | None = None) -> bytes:
        """Write the file with these values; returns what lies on disk now.

        Args:
            values: by where they stand.
            known: what was written last, when that is not what was read.

        Raises:
            InputError: the file came with cagekit, is gone, or changed since it was read.
            OutputError: it cannot be written.
        """
        self.refuse_shipped()
        self.refuse_changed(known)
        content = self.written(values).encode()
        try:
            write_whole(self.path, content, over=True)
        except OSError as error:
            raise OutputError(f"{shown(self.path)}: cannot be written: {error.strerror}.") from None
        return content

    def refuse_shipped(self) -> None:
        """Refuse to write a preset that came with cagekit.

        Raises:
            InputError: it did.
        """
        if self.path.resolve().is_relative_to(shipped_root().resolve()):
            raise InputError(
                shown(self.path),
                problem="came with cagekit and stays as it is.",
                hint="Start a file of your own: `cagekit new NAME --from BUILD` for a build, "
                "`cagekit show NAME > FILE.toml` for a car or a driver; view that.",
            )

    def refuse_changed(self, known: bytes | None = None) -> None:
        """Refuse when the disk holds something else than what was read, or than ``known``.

        Raises:
            InputError: the file is gone, changed, or may not be read or written.
        """
        try:
            now = self.path.read_bytes()
        except FileNotFoundError:
            raise InputError(
                shown(self.path), problem="is no longer there.", hint="Put it back, then save."
            ) from None
        except OSError as error:
            problem = f"cannot be read: {error.strerror}."
            hint = "Nothing was written. Give yourself the right to it, then save."
            raise InputError(shown(self.path), problem=problem, hint=hint) from None
        if now != (self.disk if known is None else known):
            raise InputError(
                shown(self.path),
                problem="was changed on disk meanwhile and was not written over.",
                hint="The page takes it in with your changes on top; look, then save again.",
            )
        if not access(self.path, W_OK):
            raise InputError(
                shown(self.path),
                problem="is write-protected and stays as it is.",
                hint="Take the protection off, then save.",
            )


def validated(document: Document, values: Mapping[Steps, Any], model: type[M]) -> M:
    """What a file says with some values changed, as its model.

    Raises:
        InputError: a value cannot be; with the file and its field.
    """
    data = document.changed(values)
    try:
        return model.model_validate(data, context={"units": document.units})
    except ValidationError as error:
        raise table_error(error, model, data, path=document.path, within=()) from None


def _copied(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _copied(v) for k, v in value.items()}
    return [_copied(v) for v in value] if isinstance(value, list) else value


def _below_its_own(text: str, new: Iterable[Steps]) -> str:
    """The text with each new key right below what its table says, above remarks on the next one."""
    for steps in new:
        lines, at = text.split("\n"), line_map(text)[steps] - 1
        to = at
        while to and not lines[to - 1].partition("#")[0].strip():
            to -= 1
        if lines[at].lstrip().startswith(str(steps[-1])):  # a line of its own, in no inline table
            lines.insert(to, lines.pop(at))
            text = "\n".join(lines)
    return text


def _set(data: Any, steps: Steps, value: Any) -> None:
    *way, last = steps
    if value is UNSET:
        del value_at(data, tuple(way))[last]
        return
    for step in way:
        if isinstance(step, str) and step not in data:
            data[step] = {}
        data = data[step]
    data[last] = value

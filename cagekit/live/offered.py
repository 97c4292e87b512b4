"""What can be changed of a version: a choice brings values with it that the files do not have."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from cagekit.errors import CagekitError
from cagekit.inputs.resolve import with_changes
from cagekit.live.params import Param, params

if TYPE_CHECKING:
    from cagekit.inputs.build import Build
    from cagekit.live.document import Document, Steps


class Offered:
    """Parameters of a build and of its versions.

    ``known`` are all that were offered, by key, with the values that they had before they were
    changed; ``rows`` are those of the version now, and ``count`` tells lists of rows apart.
    """

    def __init__(self, build: Build, documents: Mapping[str, Document]) -> None:
        self._build, self._documents = build, documents
        self.known: dict[str, Param] = {p.key: p for p in params(build, documents)}
        self.rows = tuple(self.known.values())
        self.count = 0
        self._chosen: Mapping[str, Any] = {}

    def follow(self, changes: Mapping[str, Any]) -> None:
        """Offer what the choices among these changes bring; a choice may bring another."""
        known = self.known
        while (chosen := _choices(known, changes)) != self._chosen:
            values = {known[k].steps: v for k, v in chosen.items()}
            try:
                offered = params(with_members(self._build, values), self._documents)
            except CagekitError:
                return  # told with the version
            for p in offered:
                was = known.get(p.key, p)
                known[p.key] = replace(was, owner=p.owner, place=p.place)
            self.rows = tuple(known[p.key] for p in offered)
            self.count += 1
            self._chosen = chosen


def _choices(known: Mapping[str, Param], changes: Mapping[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in changes.items() if k in known and known[k].choices}


def with_members(build: Build, values: Mapping[Steps, Any]) -> Build:
    """The build with values of its members changed.

    Args:
        build: the build.
        values: by where they stand in its file: ``members``, the member, the field.

    Raises:
        InputError: a value cannot be.
    """
    members: dict[str, dict[str, Any]] = {}
    for (_, member, field), value in values.items():
        members.setdefault(str(member), {})[str(field)] = value
    for name, changed in members.items():
        build = with_changes(build, name, changed)
    return build

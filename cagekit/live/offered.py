"""What can be changed of a version: a choice brings values with it that the files do not have."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from msgspec import UNSET
from msgspec.structs import replace

from cagekit.errors import CagekitError
from cagekit.inputs.build import BuildFile
from cagekit.inputs.resolve import with_changes, with_file, with_plates
from cagekit.live.document import validated
from cagekit.live.params import Param, params

if TYPE_CHECKING:
    from cagekit.inputs.build import Build
    from cagekit.live.document import Document, Steps


class Offered:
    """Parameters of a build and of its versions.

    ``known`` are all that were offered, by key, with the values that they had before they were
    changed; ``rows`` are those of the version now, and ``count`` tells lists of rows apart.
    ``then`` is what a value is that the build's file is no longer to say.
    """

    def __init__(self, build: Build, documents: Mapping[str, Document]) -> None:
        self._build, self._documents = build, documents
        self.known: dict[str, Param] = {p.key: p for p in params(build, documents)}
        self.rows = tuple(self.known.values())
        self.count = 0
        self.then: dict[str, Any] = {}
        self._chosen: Mapping[str, Any] = {}
        self._latest: tuple[Mapping[Steps, Any], Build] | None = None

    def follow(self, changes: Mapping[str, Any]) -> None:
        """Offer what these changes bring beside numbers: choices, and what is said no more.

        A choice may bring another.
        """
        known = self.known
        while (chosen := _choices(known, changes)) != self._chosen:
            values = {known[k].where(v): v for k, v in chosen.items()}
            try:
                offered = params(self.build_with(values), self._documents)
            except CagekitError:
                return  # told with the version
            self.then = {p.key: p.value for p in offered if chosen.get(p.key) is UNSET}
            for p in offered:
                was = known.get(p.key, p)
                known[p.key] = replace(was, owner=p.owner, place=p.place)
            there = {p.key for p in offered}
            rows = (
                *offered,
                *(known[k] for k, v in chosen.items() if v is UNSET and k not in there),
            )
            self.rows = tuple(known[p.key] for p in rows)
            self.count += 1
            self._chosen = chosen

    def build_with(self, values: Mapping[Steps, Any]) -> Build:
        """The build with values of its members and plates changed.

        Args:
            values: by where they stand in its file: ``members``, the member, the field; ``plate``,
                its place and the field; or an entry of its own, which can only say one no longer;
                ``UNSET`` for that.

        Raises:
            InputError: a value cannot be.
        """
        members: dict[str, dict[str, Any]] = {}
        own: dict[Steps, Any] = {}
        for steps, value in values.items():
            if steps[0] == "members":
                members.setdefault(str(steps[1]), {})[str(steps[2])] = value
            else:
                own[steps] = value
        build = self._with_own(own)
        for name, changed in members.items():
            build = with_changes(build, name, changed)
        return build

    def _with_own(self, own: Mapping[Steps, Any]) -> Build:
        """The build whose own entries say these: one object as long as they are the same."""
        if not own:
            return self._build
        if self._latest is None or self._latest[0] != own:
            file = validated(self._documents["build"], own, BuildFile)
            plates_alone = all(steps[0] == "plate" for steps in own)
            build = self._build if plates_alone else with_file(self._build, file)
            self._latest = dict(own), with_plates(build, file.plate)
        return self._latest[1]


def _choices(known: Mapping[str, Param], changes: Mapping[str, Any]) -> dict[str, Any]:
    return {
        k: v for k, v in changes.items()
        if k in known and (known[k].choices or (v is UNSET and known[k].file == "build"))
    }  # fmt: skip

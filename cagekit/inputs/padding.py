"""Padding on tubes that a head, a knee or an elbow could reach."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pydantic import Field

from cagekit.inputs.fields import FileModel, Length


class Padding(FileModel):
    """One kind of padding and the tubes that wear it."""

    members: tuple[str, ...] = Field(
        min_length=1, description="ids or roles of the padded tubes, e.g. main_hoop"
    )
    thickness: Length = Field(gt=0, description="how far it stands out from the tube's surface")
    standard: str = Field("", description="standard printed on it, e.g. 'FIA 8857-2001'")


def thickness_by_member(padding: Sequence[Padding], roles: Mapping[str, str]) -> dict[str, float]:
    """Thickness (mm) by member id; ``roles`` gives the role of every member id.

    Of two entries that name the same tube the later one counts, one by id before one by role.
    """
    out: dict[str, float] = {}
    for by_id in (False, True):
        for entry in padding:
            for name, role in roles.items():
                if (name in entry.members) if by_id else (role in entry.members):
                    out[name] = entry.thickness
    return out

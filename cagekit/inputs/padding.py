"""Padding on tubes that a head, a knee or an elbow could reach."""

from collections.abc import Iterable, Mapping, Sequence

from pydantic import Field

from cagekit.hints import did_you_mean
from cagekit.inputs.fields import FileModel, Length
from cagekit.inputs.presets import key_error


class Padding(FileModel):
    """One kind of padding and the tubes that wear it."""

    members: tuple[str, ...] = Field(
        min_length=1, description="ids or roles of the padded tubes, e.g. main_hoop"
    )
    thickness: Length = Field(gt=0, description="how far it stands out from the tube's surface")
    standard: str = Field("", description="standard printed on it, e.g. 'FIA 8857-2001'")


def padding_by_member(
    padding: Sequence[Padding], names: Mapping[str, Sequence[str]]
) -> dict[str, Padding]:
    """The padding that each tube wears, by member id.

    Args:
        padding: in the order written; of two that call a tube by the same name the later counts.
        names: by member id what the tube answers to, the narrowest first: the padding that calls
            it by its id counts before one that calls it by its role.
    """
    called = {name: entry for entry in padding for name in entry.members}
    out: dict[str, Padding] = {}
    for member, all_names in names.items():
        name = next((n for n in all_names if n in called), None)
        if name is not None:
            out[member] = called[name]
    return out


def thickness_by_member(
    padding: Sequence[Padding], names: Mapping[str, Sequence[str]]
) -> dict[str, float]:
    """Thickness (mm) by member id, see :func:`padding_by_member`; arguments as there.

    Args:
        padding: in the order written.
        names: by member id what the tube answers to.
    """
    return {m: entry.thickness for m, entry in padding_by_member(padding, names).items()}


def require_padded(padding: Sequence[Padding], names: Iterable[str], where: str) -> None:
    """Refuse padding for tubes that nobody makes; ``names`` is all that tubes answer to.

    Args:
        padding: as the file says.
        names: of all tubes.
        where: what a message names.

    Raises:
        InputError: it names a tube that is not there; tells the nearest one.
    """
    known = sorted(set(names))
    for n, entry in enumerate(padding):
        for k, name in enumerate(entry.members):
            if name not in known:
                raise key_error(
                    where,
                    ("padding", n, "members", k),
                    name,
                    "there is no such member.",
                    did_you_mean(name, known, what="There are"),
                )

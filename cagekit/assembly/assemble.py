"""Put a cage together: entries to members, members to a cage, feet to plates."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import replace as with_fields
from functools import partial
from itertools import islice
from math import inf
from operator import attrgetter
from typing import TYPE_CHECKING, TypeVar

from msgspec.structs import replace

from cagekit.assembly.before import Before, Brought, EntryMade, Latest, MadeVersion, Supposed
from cagekit.assembly.branches import Branches
from cagekit.assembly.trials import Trials, coped_once
from cagekit.cage.cage import CONCENTRIC, Cage
from cagekit.cage.chassis import chassis_tubes
from cagekit.cage.kept import Kept, Same, content, hashed
from cagekit.cage.made import Reads
from cagekit.cage.member import EndKind, EndName, Member
from cagekit.errors import (
    CagekitError,
    GeometryError,
    InputError,
    NoHolderError,
    NotFoundError,
    about,
)
from cagekit.geometry.arrays import size3
from cagekit.inputs.build import Build, spread
from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.grind import grind_by_member
from cagekit.inputs.padding import require_padded
from cagekit.inputs.plate import SWING_BRACKET
from cagekit.inputs.presets import key_error
from cagekit.members.registry import make
from cagekit.members.site import Site

if TYPE_CHECKING:
    from cagekit.swing.bolted import Bolted
    from cagekit.swing.divide import Divided

T = TypeVar("T")
S = TypeVar("S", MadeVersion, Cage)

CALLED = attrgetter("kind", "group", "id")
"""What an entry is called by."""
NEAR_FOOT = 150.0
"""A foot further (mm) from the axis of an outrigger does not stand on it."""


def assemble(build: Build, kept: Kept | None = None) -> Cage:
    """Make the cage of a build; ``kept`` holds what an earlier one has worked out.

    Members are made in the layout's order. A branch that runs into an earlier branch of the same
    node is coped to that one too. The plates under the feet and at the nodes come last.

    Raises:
        GeometryError: a member or plate cannot be made; says which and why.
        InputError: a place or measurement that an entry needs is missing or wrong.
    """
    return with_plates(build, members_only(build, kept))


def with_plates(build: Build, cage: Cage) -> Cage:
    """The tubes of a build with all its plates.

    Raises:
        GeometryError: a plate cannot be made; says which and why.
        InputError: a place or measurement that an entry needs is missing or wrong.
    """
    from cagekit.plates.feet import idle_fields, plates_for

    # what the build leaves out may stay padded: it comes back with its padding
    tubes = (*cage.members.values(), *cage.chassis.values())
    answers = {n for m in tubes for n in m.names} | build.names_left_out
    require_padded(build.file.padding, answers, str(build.files.get("build", build.name)))
    idle = idle_fields(build, cage)
    notes = (*cage.notes, *idle) if idle else None
    whole = cage.replace(plates=(*plates_for(build, cage), *cage.plates), notes=notes)
    _require_names(build, whole)
    return whole


GROUPS = ("tubes", "plates", "hardware")
"""Names of the groups of parts in the files for CAD."""


def _require_names(build: Build, cage: Cage) -> None:
    """Refuse two parts of one name: files and the solids in them are told apart by it."""
    where = str(build.files.get("build", build.name))
    ids = (*cage.members, *(p.id for p in cage.plates))
    whole = build.name.replace("-", "_")
    taken = {whole, *GROUPS}
    for name in ids:
        if name not in taken:
            taken.add(name)
            continue
        if name == whole:
            hint = "Give the build another name than a part of it."
            raise key_error(where, ("name",), build.name, "a part has this name too.", hint)
        what = "a group of parts" if name in GROUPS else "another part"
        named = [e for e in build.plates if e.id == name]
        with about(named[-1] if named else None):
            raise InputError(
                where,
                "id",
                name,
                problem=f"{what} has this name too.",
                hint="Give the member or plate another `id`.",
            )


def members_only(build: Build, kept: Kept | None = None) -> Cage:
    """Make the tubes of a build, without plates but for the brackets of swing-out bars.

    Raises:
        GeometryError: a member cannot be made; says which and why.
        InputError: a place or measurement that an entry needs is missing or wrong.
    """
    (made,) = variants([build], kept)
    if isinstance(made, CagekitError):
        raise made
    return made


def variants(
    builds: Sequence[Build], kept: Kept | None = None, *, copied: bool = False
) -> list[Cage | CagekitError]:
    """Make the tubes of many versions of a build and cut all their ends side by side.

    Each is what ``members_only`` makes of its build, to the last bit. Of many, a cut that plain
    numbers tell to be good is scanned when somebody asks for its shape.

    Args:
        builds: the versions; what they share is made once.
        kept: what an earlier cage has worked out.
        copied: let a copy of this process, in which no other thread is at work, make half of many.
            What it works out is in its cages, not in ``kept``.

    Returns:
        The cages in order; for one that cannot be made the error that ``members_only`` raises.
    """
    there = Kept() if kept is None else kept

    def some(of: slice) -> list[Cage | CagekitError]:
        wanted = builds[of]
        lots = (wanted[n : n + LOT] for n in range(0, len(wanted), LOT))
        return [made for lot in lots for made in _side_by_side(lot, there)]

    if not copied:
        return some(slice(None))
    from cagekit.assembly.by_two import SHARED, packing
    from cagekit.process import made_by_two

    return made_by_two(some, len(builds), SHARED, partial(packing, there))


LOT = 32
"""Versions made at one go: what is kept of more would not last until it is asked for again."""


def _side_by_side(builds: Sequence[Build], kept: Kept) -> list[Cage | CagekitError]:
    latest = kept.once(("latest version",), Latest)
    settled, before = latest.cage, latest.version
    trials, left = Trials(kept, latest), list(range(len(builds)))
    found: dict[int, MadeVersion | CagekitError] = {}
    cages: dict[int, Cage | CagekitError] = {}
    supposed: dict[int, Supposed] = {}
    while left:
        wrong = left
        while wrong:
            for i in wrong:
                found[i] = made = _or_error(partial(_tubes, builds[i], kept, trials, before))
                supposed[i] = trials.taken()
                before = made if isinstance(made, MadeVersion) else before
            trials.look()
            wrong = [i for i in wrong if not trials.bear_out(supposed[i])]
        for i in left:
            cages[i] = _then(found[i], partial(_cage, builds[i], kept))
        there = [cage for i in left if isinstance(cage := cages[i], Cage)]
        if settled is not None:
            for cage in there:
                cage.take_over(settled)
        trials.cut(there)
        left = [i for i in left if not trials.bear_out(supposed[i])]
    out: list[Cage | CagekitError] = []
    for i in range(len(builds)):
        joined = _then(cages[i], _coped)
        out.append(joined)
        if isinstance(made := found[i], MadeVersion) and isinstance(joined, Cage):
            latest.version, latest.cage = made.settled(), joined
    return out


def _then(made: S | CagekitError, make: Callable[[S], T]) -> T | CagekitError:
    """What is made of this, where there was no error so far."""
    return made if isinstance(made, CagekitError) else _or_error(partial(make, made))


def _or_error(make: Callable[[], T]) -> T | CagekitError:
    try:
        return make()
    except (GeometryError, InputError, NotFoundError) as error:
        return error


def _tubes(build: Build, kept: Kept, trials: Trials, last: MadeVersion | None) -> MadeVersion:
    """The tubes of a build, whole and not coped yet; ``last`` is the version made before it."""
    frame = kept.once(("chassis", Same(build.car)), partial(_frame, build, kept))
    ground = kept.once(("ground", _ground(build)), object)
    left_out, spare = kept.once(_layout(build), partial(_left_out, build))
    rises = kept.once(("rises", ground), dict[tuple[str, str], float])
    site = Site(build, frame, rises, left_out)
    made, before = Branches(site.members), Before(last, ground)
    rows: list[EntryMade] = []
    for entry in build.entries:
        was, only = before.row(entry.id), entry.id in spare
        if was is not None and was.entry is entry and was.spare == only:
            key = was.key
        else:
            key = kept.once(("entry", Same(entry), only), partial(_key, entry, only))
        if was is None or not before.step_stands(was, key):
            make_it = partial(_step, site, entry, kept, only)
            step, reads = site.members.made_once(kept, ("members", ground, key), make_it)
            same = was is not None and was.step is step
        else:
            step, reads, same = was.step, was.reads, True
        if was is not None and same and before.tubes_stand(was) and trials.again(was.supposed):
            row = was
            if was.entry is not entry or was.spare != only or was.reads is not reads:
                row = replace(was, entry=entry, spare=only, key=key, reads=reads)
            for member in row.tubes:
                site.add([member])
                made.note(member)
        else:
            row = _row(entry, only, key, reads, step, site, made, kept, trials)
        rows.append(row)
        before.note(row)
    return MadeVersion(ground=ground, rows=rows, members=site.made, chassis=site.chassis)


def _cage(build: Build, kept: Kept, made: MadeVersion) -> Cage:
    """The cage of a build's tubes, those divided that come apart."""
    members = dict(made.members)
    _require_outriggers(build, members)
    _note_grinding(build, members, kept)
    divided = _swung(build, members, kept)
    bolted = _bolted(build, members, made.chassis, kept)
    return Cage(
        build.name,
        _divided(members, divided, bolted, kept),
        plates=[p for d in divided for p in d.plates],
        doors=[d.door for d in divided],
        bolted=[s.tube for s in bolted],
        hardware=[p for parts in (divided, bolted) for d in parts for p in d.hardware],
        chassis=made.chassis.values(),
        notes=[n for row in made.rows for n in row.notes],
        tells=_axes_apart,
        kept=kept,
    )


def _key(entry: MemberEntry, spare: bool) -> Hashable:
    return hashed((content(entry), spare))


def _row(
    entry: MemberEntry, spare: bool, key: Hashable, reads: Reads, step: Brought,
    site: Site, made: Branches, kept: Kept, trials: Trials,
) -> EntryMade:  # fmt: skip
    """An entry whose tubes meet those made so far; they are added to these."""
    notes, tubes, earlier = list(step.notes), list[Member](), len(trials.supposed)
    for member in step.members:  # one after another: of two that meet the later one is coped
        tubes.append(_meet_neighbours(made, member, notes, kept, trials))
        site.add(tubes[-1:])
        made.note(tubes[-1])
    supposed = dict(islice(trials.supposed.items(), earlier, None))
    return EntryMade(
        entry=entry, spare=spare, key=key, reads=reads, step=step,
        tubes=tuple(tubes), notes=tuple(notes), supposed=supposed,
    )  # fmt: skip


def _frame(build: Build, kept: Kept) -> Mapping[str, Member]:
    """The tubes of the car's own frame."""
    return {i: kept.same(m) for i, m in chassis_tubes(build.car).items()}


def _coped(cage: Cage) -> Cage:
    """The cage when all its joints can be made."""
    cage.require_copes()
    return cage


def _axes_apart(cage: Cage) -> Iterator[str]:
    """Notes on joints whose axes do not meet."""
    for joint in cage.joints:
        if not joint.concentric:
            names = ", ".join(joint.parents)
            yield (
                f"{joint.branch} end {joint.branch_end}: axes of {names} do not all meet in its "
                f"node (more than {CONCENTRIC} mm apart)."
            )


def _layout(build: Build) -> Hashable:
    """All that tells which members a build leaves out."""
    file = build.file
    written = (Same(build.layout), Same(file.add), Same(file.strut))
    return ("left out", written, tuple(file.members), tuple(map(CALLED, build.entries)))


def _left_out(build: Build) -> tuple[set[str], frozenset[str]]:
    """What members answer to that a build leaves out, and which then only the layout asks for."""
    left_out, said = build.names_left_out, build.file.members
    if not left_out:
        return left_out, frozenset()
    both = spread(build.layout.member)
    return left_out, frozenset(e.id for e in both if not any(name in said for name in e.names))


def _step(site: Site, entry: MemberEntry, kept: Kept, spare: bool) -> Brought:
    try:
        return Brought(tuple(map(kept.same, make(site, entry))))
    except NoHolderError as error:
        if not spare:
            raise
        return Brought((), (f"{entry.id} is left out too: it {error.problem}",))


def _ground(build: Build) -> Hashable:
    """All of a build that members are made from, but for their entries."""
    alone = {"entries", "file", "files", "remarks", "tubes"}
    rest = [getattr(build, n) for n in build.__struct_fields__ if n not in alone]
    lists = (tuple(map(Same, x)) if isinstance(x, tuple) else x for x in rest)
    own = (x if isinstance(x, str | tuple) else Same(x) for x in lists)
    file = build.file
    tables = (Same(getattr(file, n)) for n in type(file).model_fields if n != "members")
    tubes = tuple((k, Same(t)) for k, t in build.tubes.items())
    return (*own, *tables, tubes)


def _require_outriggers(build: Build, members: Mapping[str, Member]) -> None:
    """A foot that the car sheet stands on an outrigger has one below, and is cut to it."""
    tubes = [m for m in members.values() if m.role == "outrigger"]
    for m in members.values():
        for name, end in m.ends:
            if end.surface != "outrigger":
                continue
            from cagekit.plates.feet import on_plate_or_box

            if on_plate_or_box(build, m, name):
                continue
            point = m.path.end_point(name)
            gaps = {t.id: size3(t.path.nearest(point).point - point) for t in tubes}
            below = min(gaps, key=gaps.__getitem__, default="")
            if gaps.get(below, inf) > NEAR_FOOT:
                raise InputError(
                    f"car {build.car.name}",
                    f"{end.foot}.surface",
                    "outrigger",
                    problem=f"{m.id} end {name} would stand on an outrigger that the cage does "
                    "not have, without a plate.",
                    hint="Add a member of kind 'outrigger' or a plate of kind 'outrigger_box'; "
                    "say surface = 'frame' when the car has its own.",
                )
            raise GeometryError(
                f"{m.id} end {name}",
                f"would be cut flat on {below}, a round tube"
                + (" that is made after it." if m.role == "main_hoop" else "."),
                f"Put the outrigger above {m.id} in the layout, or a plate of kind 'floor_plate' "
                "under this foot."
                if m.role == "main_hoop"
                else "End it on the tube, or put a plate of kind 'floor_plate' under this foot.",
            )


def _note_grinding(build: Build, members: dict[str, Member], kept: Kept) -> None:
    """Give tubes the grinding notes that the build has for them."""
    if not build.file.grind:
        return
    names = {m.id: m.names for m in members.values()}
    where = str(build.files.get("build", build.name))
    notes = grind_by_member(build.file.grind, names, build.names_left_out, where)
    for id_, grind in notes.items():
        members[id_] = kept.same(with_fields(members[id_], grind=grind))


def _swung(build: Build, members: dict[str, Member], kept: Kept) -> Sequence[Divided]:
    """The bars that swing out, divided; a cage without any does not load what that takes."""
    named = any(p.kind == SWING_BRACKET for p in build.plates)
    if not named and all(m.swing is None for m in members.values()):
        return ()
    from cagekit.swing.divide import divide_all

    return divide_all(build, members, kept)


def _bolted(
    build: Build, members: Mapping[str, Member], chassis: Mapping[str, Member], kept: Kept
) -> Sequence[Bolted]:
    """The tubes that come apart at bolted joints, divided."""
    if not build.file.joint:
        return ()
    from cagekit.swing.bolted import bolt_all

    cage = Cage("", members.values(), chassis=chassis.values(), kept=kept)
    return bolt_all(build, cage)


def _divided(
    members: Mapping[str, Member],
    divided: Sequence[Divided],
    bolted: Sequence[Bolted],
    kept: Kept,
) -> list[Member]:
    """Members in build order, each divided tube as its pieces; what hangs on those follows.

    Raises:
        GeometryError: a member is coped to the piece that swings.
    """
    by_bar: dict[str, Divided | Bolted] = {d.door.bar: d for d in divided}
    by_bar |= {s.tube.fitted.id: s for s in bolted}
    if not by_bar:
        return list(members.values())
    out: list[Member] = []
    for member in members.values():
        pieces = by_bar[member.id].pieces if member.id in by_bar else (member,)
        out += (kept.same(_hung(piece, by_bar)) for piece in pieces)
    return out


def _hung(member: Member, by_bar: Mapping[str, Divided | Bolted]) -> Member:
    """A member, or a piece of one, whose ends are coped to pieces where their parents have some."""
    for name, end in member.ends:
        held = {p: _standing(member, name, by_bar[p]) for p in end.parents if p in by_bar}
        if held:
            new = with_fields(end, parents=tuple(held.get(p, p) for p in end.parents))
            member = with_fields(member, a=new) if name == "a" else with_fields(member, b=new)
    return member


def _standing(member: Member, name: EndName, divided: Divided | Bolted) -> str:
    """The stub, or the piece of a bolted tube, that a member's end is coped to."""
    from cagekit.swing.divide import Divided

    if not isinstance(divided, Divided):
        tube = divided.tube
        spot = tube.fitted.path.nearest(member.path.end_point(name))
        return tube.pieces[sum(j.station < spot.station for j in tube.joints)]
    door = divided.door
    station = door.fitted.path.nearest(member.path.end_point(name)).station
    low, high = sorted((door.hinge.cut_station, door.latch.cut_station))
    reach = 1.2 * member.tube.outer_radius
    if station + reach <= low:
        return door.pieces[0]
    if station - reach >= high:
        return door.pieces[2]
    raise GeometryError(
        member.id,
        f"is coped to {door.bar} {station:.0f} mm from its end a; between {low:.0f} and "
        f"{high:.0f} mm that bar swings out.",
        "Attach it to another member, or set swing_out = false.",
    )


def sketch(build: Build) -> Cage:
    """Make the tubes' centre lines only: quick, for trying places.

    Ends are coped to what their entry names; whether they can be is not looked at.
    """
    site = Site(build)
    for entry in build.entries:
        site.add(make(site, entry))
    return Cage(build.name, site.made.values(), chassis=site.chassis.values())


def _meet_neighbours(
    made: Branches, member: Member, notes: list[str], kept: Kept, trials: Trials
) -> Member:
    """Cope a member's ends also to earlier branches that it would run into near the node."""
    for name, end in member.ends:
        if end.kind is not EndKind.COPE:
            continue
        parent, others = made.tubes[end.parents[0]], made.beside(member, end)
        hit = trials.met(member, name, parent, others) if others else ()
        hit = trials.touched(made.tubes, member, name, hit) if hit else ()
        if hit:
            notes.append(
                f"{member.id} end {name} is coped to {', '.join(hit)} too: they share the node."
            )
            member = coped_once(kept, member, name, hit)
    return member

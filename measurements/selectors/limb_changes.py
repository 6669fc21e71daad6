"""Two sessions of one limb set against each other, for many clients at once."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from clinic.common.vocabulary import Limb, Side
from measurements.limb.comparison import Comparison, Judged, comparison_of, shared_section
from measurements.limb.errors import ComparisonError
from measurements.limb.girth import LimbGirths
from measurements.limb.trend import relative_changes
from measurements.limb.volume import Section, Volume
from measurements.selectors.girth_arrays import LimbSection, columns_of, girths_of, volumes_of


@dataclass(frozen=True)
class TwoSessions:
    """An earlier and a later session of one kind of limb, and the side set against the other."""

    limb: Limb
    affected_side: Side
    then_id: UUID
    now_id: UUID


@dataclass(frozen=True)
class Compared:
    """Both sessions over the stretch that all four limbs share."""

    then: Comparison
    now: Comparison


Limbs = dict[Side, LimbGirths]
Four = tuple[LimbGirths, LimbGirths, LimbGirths, LimbGirths]


def compared(asked: Sequence[TwoSessions]) -> list[Compared | None]:
    """What each pair says, in the same order; None where a limb is missing or nothing is shared.

    One query, none for nothing asked.
    """
    wanted = _wanted(asked)
    volumes = iter(volumes_of([each for four in wanted for each in four]))
    return [_compared(volumes) if four else None for four in wanted]


def relative_changes_of(asked: Sequence[TwoSessions]) -> list[Judged | None]:
    """The relative volume change of each pair, percent; None as in `compared`. One query."""
    wanted = _wanted(asked)
    found = columns_of([each for four in wanted for each in four])
    then_a, then_u, now_a, now_u = (found[place::4] for place in range(4))
    columns = relative_changes(now=(now_a, now_u), baseline=(then_a, then_u))
    judged = map(Judged, *(column.tolist() for column in columns))
    return [next(judged) if four else None for four in wanted]


def _wanted(asked: Sequence[TwoSessions]) -> list[Sequence[LimbSection]]:
    """(affected then, other then, affected now, other now) over what all share, of each or none."""
    limbs = _limbs({key for each in asked for key in (each.then_id, each.now_id)})
    fours = [_four(each, limbs) for each in asked]
    sections = [_shared(four) if four else None for four in fours]
    return [
        [LimbSection(each.limb, girths, section) for girths in four] if four and section else ()
        for each, four, section in zip(asked, fours, sections, strict=True)
    ]


def _compared(volumes: Iterator[Volume]) -> Compared:
    """From the next four: affected and other, then and now."""
    then = comparison_of(next(volumes), next(volumes))
    return Compared(then=then, now=comparison_of(next(volumes), next(volumes)))


def _limbs(session_ids: set[UUID]) -> dict[UUID, Limbs]:
    found: defaultdict[UUID, Limbs] = defaultdict(dict)
    for key, girths in girths_of(session_ids):
        found[key][girths.side] = girths
    return found


def _four(each: TwoSessions, limbs: Mapping[UUID, Limbs]) -> Four | None:
    """(affected then, other then, affected now, other now), where all were taped."""
    then, now = limbs.get(each.then_id), limbs.get(each.now_id)
    if not (then and now and len(then) == len(now) == len(Side)):
        return None
    side, other = each.affected_side, each.affected_side.other
    return then[side], then[other], now[side], now[other]


def _shared(four: Four) -> Section | None:
    try:
        return shared_section(*four)
    except ComparisonError:
        return None

"""Two sessions of one limb set against each other, for many clients at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from clinic.common.vocabulary import Limb, Side
from measurements.limb.comparison import Comparison, comparison_of, shared_section
from measurements.limb.errors import ComparisonError
from measurements.limb.girth import LimbGirths
from measurements.limb.volume import Section
from measurements.selectors.girth_arrays import LimbSection, girths_of, volumes_of


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


Four = tuple[LimbGirths, LimbGirths, LimbGirths, LimbGirths]


def compared(asked: Sequence[TwoSessions]) -> dict[TwoSessions, Compared]:
    """What the sessions say; without those in which a limb is missing or nothing is shared.

    One query, none for nothing asked.
    """
    limbs = _limbs({key for each in asked for key in (each.then_id, each.now_id)})
    fours = {each: four for each in asked if (four := _four(each, limbs))}
    sections = {each: section for each, four in fours.items() if (section := _shared(four))}
    wanted = [
        LimbSection(each.limb, girths, section)
        for each, section in sections.items()
        for girths in fours[each]
    ]
    volumes = iter(volumes_of(wanted))
    return {
        each: Compared(
            then=comparison_of(next(volumes), next(volumes)),
            now=comparison_of(next(volumes), next(volumes)),
        )
        for each in sections
    }


def _limbs(session_ids: set[UUID]) -> dict[tuple[UUID, Side], LimbGirths]:
    return {(key, girths.side): girths for key, girths in girths_of(session_ids)}


def _four(each: TwoSessions, limbs: dict[tuple[UUID, Side], LimbGirths]) -> Four | None:
    """(affected then, other then, affected now, other now), where all were taped."""
    side = each.affected_side
    keys = ((pk, one) for pk in (each.then_id, each.now_id) for one in (side, side.other))
    first, second, third, fourth = (limbs.get(key) for key in keys)
    return (first, second, third, fourth) if first and second and third and fourth else None


def _shared(four: Four) -> Section | None:
    try:
        return shared_section(*four)
    except ComparisonError:
        return None

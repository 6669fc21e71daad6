"""A series before it is saved: each date, what stands against it, and free times near it. Pure."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

from clinic.scheduling.slots import Agenda, Conflict, Offer, Place, Wish, conflicts, offers
from clinic.scheduling.spans import Span, moment

# How far from the wanted day a free time is looked for, and how many are proposed.
NEAR_DAYS = 3
MOST_PROPOSALS = 3


@dataclass(frozen=True)
class PlannedDate:
    """One date of a series. `near` is empty when nothing stands against the date."""

    span: Span
    place: Place
    conflicts: tuple[Conflict, ...] = ()
    closure: str = ""
    near: tuple[Offer, ...] = ()

    @property
    def is_free(self) -> bool:
        return not self.conflicts


def plan(
    agenda: Agenda, place: Place, spans: Sequence[Span], *, not_before: datetime
) -> list[PlannedDate]:
    """Judge every date of a series. A free time is proposed first for one date only."""
    taken = list(spans)
    planned = []
    for span in spans:
        judged = judge(agenda, place, span)
        if judged.conflicts:
            others = [one for one in taken if one is not span]
            judged = replace(judged, near=_near(agenda, judged, others, not_before))
            taken += [offer.span for offer in judged.near[:1]]
        planned.append(judged)
    return planned


def judge(agenda: Agenda, place: Place, span: Span) -> PlannedDate:
    """What stands against one date, without looking for another."""
    closure = agenda.closure(agenda.local_day(span.starts_at))
    return PlannedDate(
        span=span,
        place=place,
        conflicts=conflicts(agenda, place, span),
        closure=closure.title if closure else "",
    )


def _near(
    agenda: Agenda, judged: PlannedDate, taken: Sequence[Span], not_before: datetime
) -> tuple[Offer, ...]:
    """Free times of the same therapist nearest to the wanted one, same day before other days."""
    found = [
        offer
        for wish in _wishes(agenda, judged, not_before)
        for offer in offers(agenda, wish)
        if not any(offer.span.overlaps(other) for other in taken)
    ]
    once = {offer.span: offer for offer in found}.values()
    ranked = sorted(once, key=lambda offer: _distance(agenda, judged, offer))
    return tuple(ranked[:MOST_PROPOSALS])


def _wishes(agenda: Agenda, judged: PlannedDate, not_before: datetime) -> Iterator[Wish]:
    """Free times of the days around; twice, so that those from the wanted hour on are among them.

    The wanted room is kept where it can be.
    """
    near = timedelta(days=NEAR_DAYS)
    day = agenda.local_day(judged.span.starts_at)
    around = Wish(
        minutes=judged.span.minutes,
        from_at=max(not_before, moment(day - near, time.min, agenda.zone)),
        until_on=day + near,
        therapist_ids=(judged.place.therapist_id,),
    )
    local = judged.span.starts_at.astimezone(agenda.zone).time()
    for wish in (around, replace(around, from_time=local)):
        yield wish
        if judged.place.room_id:
            yield replace(wish, room_ids=(judged.place.room_id,))


def _distance(agenda: Agenda, judged: PlannedDate, offer: Offer) -> tuple[int, int, bool]:
    wanted, found = judged.span.starts_at, offer.span.starts_at
    away_days = abs((agenda.local_day(found) - agenda.local_day(wanted)).days)
    other_room = offer.place.room_id != judged.place.room_id
    local_gap = abs(_minute_of_day(agenda, found) - _minute_of_day(agenda, wanted))
    return away_days, local_gap, other_room


def _minute_of_day(agenda: Agenda, at: datetime) -> int:
    local = at.astimezone(agenda.zone)
    return local.hour * 60 + local.minute

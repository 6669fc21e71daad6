"""A series before it is saved: each date, what stands against it, and free times near it. Pure."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

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


def plan(agenda: Agenda, place: Place, spans: Sequence[Span]) -> list[PlannedDate]:
    """Judge every date of a series. A free time is proposed only once, for the nearest date."""
    taken = list(spans)
    planned = []
    for span in spans:
        judged = _judged(agenda, place, span)
        if judged.conflicts:
            judged = replace(judged, near=_near(agenda, judged, taken))
            taken += [offer.span for offer in judged.near[:1]]
        planned.append(judged)
    return planned


def _judged(agenda: Agenda, place: Place, span: Span) -> PlannedDate:
    closure = agenda.closure(agenda.local_day(span.starts_at))
    return PlannedDate(
        span=span,
        place=place,
        conflicts=conflicts(agenda, place, span),
        closure=closure.title if closure else "",
    )


def _near(agenda: Agenda, judged: PlannedDate, taken: Sequence[Span]) -> tuple[Offer, ...]:
    """Free times of the same therapist nearest to the wanted one, same day before other days."""
    day = agenda.local_day(judged.span.starts_at)
    found = [
        offer
        for wish in _wishes(agenda, judged, day)
        for offer in offers(agenda, wish)
        if not any(offer.span.overlaps(other) for other in taken)
    ]
    once = {(offer.span, offer.place): offer for offer in found}.values()
    ranked = sorted(once, key=lambda offer: _distance(agenda, judged, offer))
    return tuple(ranked[:MOST_PROPOSALS])


def _wishes(agenda: Agenda, judged: PlannedDate, day: date) -> Iterator[Wish]:
    """Free times before and after the wanted time, and on the days around."""
    local = judged.span.starts_at.astimezone(agenda.zone).time()
    whole = Wish(
        minutes=judged.span.minutes,
        from_at=moment(day - timedelta(days=NEAR_DAYS), local.min, agenda.zone),
        until_on=day + timedelta(days=NEAR_DAYS),
        therapist_ids=(judged.place.therapist_id,),
    )
    yield whole
    yield replace(whole, from_time=local)


def _distance(agenda: Agenda, judged: PlannedDate, offer: Offer) -> tuple[int, float, bool]:
    wanted, found = judged.span.starts_at, offer.span.starts_at
    away_days = abs((agenda.local_day(found) - agenda.local_day(wanted)).days)
    other_room = offer.place.room_id != judged.place.room_id
    local_gap = abs(_minute_of_day(agenda, found) - _minute_of_day(agenda, wanted))
    return away_days, local_gap, other_room


def _minute_of_day(agenda: Agenda, at: object) -> float:
    local = at.astimezone(agenda.zone)  # type: ignore[attr-defined]
    return local.hour * 60 + local.minute

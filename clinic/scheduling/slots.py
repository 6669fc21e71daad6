"""Which times are free, what stands against a time, and the next times that fit. Pure.

Standard library, vocabulary and this app's pure modules only; today and the zone are arguments.
"""

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import islice
from zoneinfo import ZoneInfo

from clinic.common.vocabulary import Word
from clinic.scheduling.spans import Span, cut, days, lasting, moment, shared, whole_day

# Starts are offered on this grid of the wall clock. Common practice, no source.
GRID_MIN = 15
# An end of the day: no time here works past midnight.
LAST_TIME = time(23, 59)


class Conflict(Word):
    """What stands against a time."""

    THERAPIST_BUSY = "therapist_busy", "the therapist has another appointment"
    ROOM_BUSY = "room_busy", "the room is taken"
    CLIENT_BUSY = "client_busy", "the client has another appointment"
    CLOSED = "closed", "the clinic is closed"
    AWAY = "away", "the therapist is away"
    OUTSIDE_HOURS = "outside_hours", "outside the therapist's working hours"


# Nobody may book over these; the others may be overruled by somebody who knows why.
NEVER = frozenset({Conflict.THERAPIST_BUSY, Conflict.ROOM_BUSY, Conflict.CLIENT_BUSY})


class Fit(Word):
    """Why a free time stands where it does in the list."""

    NO_GAP = "no_gap", "leaves no gap"
    OWN_ROOM = "own_room", "the therapist's own room"


@dataclass(frozen=True)
class Hours:
    """One stretch of a therapist's working hours on a weekday (Monday is 0), wall time."""

    weekday: int
    from_time: time
    to_time: time
    room_id: int | None = None


@dataclass(frozen=True)
class ClosedDays:
    first_on: date
    last_on: date
    title: str = ""

    def holds(self, day: date) -> bool:
        return self.first_on <= day <= self.last_on


Spans = Sequence[Span]


@dataclass(frozen=True)
class Agenda:
    """Everything known about a stretch of days: hours, closures, absences and what is booked.

    The spans of one therapist, room or client ascend and do not overlap.
    """

    zone: ZoneInfo
    hours: Mapping[int, Sequence[Hours]]
    closed: Sequence[ClosedDays] = ()
    away: Mapping[int, Spans] = field(default_factory=dict)
    of_therapist: Mapping[int, Spans] = field(default_factory=dict)
    of_room: Mapping[int, Spans] = field(default_factory=dict)
    of_client: Spans = ()
    room_ids: Sequence[int] = ()

    def local_day(self, at: datetime) -> date:
        return at.astimezone(self.zone).date()

    def closure(self, day: date) -> ClosedDays | None:
        return next((closed for closed in self.closed if closed.holds(day)), None)


@dataclass(frozen=True)
class Place:
    """A therapist and perhaps a room."""

    therapist_id: int
    room_id: int | None = None


@dataclass(frozen=True)
class Wish:
    """What a free time must fit."""

    minutes: int
    from_at: datetime
    until_on: date
    therapist_ids: Sequence[int]
    room_ids: Sequence[int] = ()  # none given: any room will do
    weekdays: frozenset[int] = frozenset(range(7))
    from_time: time = time.min
    to_time: time = LAST_TIME


@dataclass(frozen=True)
class Offer:
    """A free time, with what speaks for it."""

    span: Span
    place: Place
    fits: tuple[Fit, ...] = ()

    @property
    def leaves_no_gap(self) -> bool:
        return Fit.NO_GAP in self.fits


def overlaps_any(wanted: Span, spans: Spans) -> bool:
    """Whether a span meets one of ascending spans that do not overlap each other."""
    place = bisect_left(spans, wanted)
    near = spans[max(place - 1, 0) : place + 1]
    return any(wanted.overlaps(one) for one in near)


def working_spans(agenda: Agenda, therapist_id: int, day: date) -> list[Span]:
    """When a therapist works on a day: hours less closures and absences."""
    if agenda.closure(day):
        return []
    hours = [
        Span(moment(day, one.from_time, agenda.zone), moment(day, one.to_time, agenda.zone))
        for one in agenda.hours.get(therapist_id, ())
        if one.weekday == day.weekday()
    ]
    return cut(sorted(hours), agenda.away.get(therapist_id, ()))


def free_gaps(agenda: Agenda, therapist_id: int, day: date) -> list[Span]:
    """When a therapist works and has nobody booked."""
    working = working_spans(agenda, therapist_id, day)
    return cut(working, _on(agenda, agenda.of_therapist.get(therapist_id, ()), day))


def free_room_gaps(agenda: Agenda, room_id: int, day: date, open_span: Span) -> list[Span]:
    """When a room is free within the hours the clinic is open."""
    if agenda.closure(day):
        return []
    return cut([open_span], _on(agenda, agenda.of_room.get(room_id, ()), day))


def conflicts(agenda: Agenda, place: Place, wanted: Span) -> tuple[Conflict, ...]:
    """All that stands against a time, what nobody may overrule first."""
    return tuple(_conflicts(agenda, place, wanted))


def _conflicts(agenda: Agenda, place: Place, wanted: Span) -> Iterator[Conflict]:
    if overlaps_any(wanted, agenda.of_therapist.get(place.therapist_id, ())):
        yield Conflict.THERAPIST_BUSY
    if place.room_id and overlaps_any(wanted, agenda.of_room.get(place.room_id, ())):
        yield Conflict.ROOM_BUSY
    if overlaps_any(wanted, agenda.of_client):
        yield Conflict.CLIENT_BUSY
    yield from _overrulable(agenda, place, wanted)


def _overrulable(agenda: Agenda, place: Place, wanted: Span) -> Iterator[Conflict]:
    day = agenda.local_day(wanted.starts_at)
    if agenda.closure(day):
        yield Conflict.CLOSED
        return
    if any(wanted.overlaps(away) for away in agenda.away.get(place.therapist_id, ())):
        yield Conflict.AWAY
        return
    working = working_spans(agenda, place.therapist_id, day)
    if not any(stretch.holds(wanted) for stretch in working):
        yield Conflict.OUTSIDE_HOURS


def next_free(agenda: Agenda, wish: Wish, *, most: int = 12) -> list[Offer]:
    """The next free times that fit, at most so many, best first.

    Sooner days first; within a day those that leave no gap, then the earlier, then the therapists
    in the order of the wish.
    """
    return list(islice(offers(agenda, wish), most))


def offers(agenda: Agenda, wish: Wish) -> Iterator[Offer]:
    """Every offer, day by day, lazily: a full calendar is searched no further than needed."""
    for day in days(agenda.local_day(wish.from_at), wish.until_on):
        if day.weekday() in wish.weekdays and not agenda.closure(day):
            yield from sorted(_offers_on(agenda, wish, day), key=_rank)


def _rank(offer: Offer) -> tuple[bool, datetime]:
    return (not offer.leaves_no_gap, offer.span.starts_at)


def _offers_on(agenda: Agenda, wish: Wish, day: date) -> Iterator[Offer]:
    window = _window(agenda, wish, day)
    of_client = _on(agenda, agenda.of_client, day)
    for therapist_id in wish.therapist_ids:
        gaps = free_gaps(agenda, therapist_id, day)
        long_enough = [gap for gap in gaps if gap.minutes >= wish.minutes]
        for gap in cut(shared(long_enough, [window]), of_client):
            if gap.minutes >= wish.minutes:
                yield from _offers_in(agenda, wish, gap, therapist_id, gaps)


def _window(agenda: Agenda, wish: Wish, day: date) -> Span:
    """The part of a day in which the client can come."""
    opens = max(moment(day, wish.from_time, agenda.zone), wish.from_at)
    closes = (
        whole_day(day, agenda.zone).ends_at
        if wish.to_time >= LAST_TIME
        else moment(day, wish.to_time, agenda.zone)
    )
    return Span(opens, max(opens, closes))


def _offers_in(
    agenda: Agenda, wish: Wish, gap: Span, therapist_id: int, gaps: Spans
) -> Iterator[Offer]:
    """The first and the last start in a gap for which a room is free."""
    starts = list(_grid_starts(gap, wish.minutes))
    first = _first_roomed(agenda, wish, starts, therapist_id)
    last = _first_roomed(agenda, wish, starts[::-1], therapist_id)
    for found in dict.fromkeys(offer for offer in (first, last) if offer):
        edges = {edge for one in gaps for edge in (one.starts_at, one.ends_at)}
        closes_up = found.span.starts_at in edges or found.span.ends_at in edges
        fits = ((Fit.NO_GAP,) if closes_up else ()) + found.fits
        yield Offer(found.span, found.place, fits)


def _grid_starts(gap: Span, minutes: int) -> Iterator[datetime]:
    """The gap's own start, then every quarter hour from which the visit ends in time."""
    latest = gap.ends_at - timedelta(minutes=minutes)
    if gap.starts_at <= latest:
        yield gap.starts_at
    behind_min = gap.starts_at.minute % GRID_MIN
    at = gap.starts_at + timedelta(minutes=GRID_MIN - behind_min)
    while at <= latest:
        yield at
        at += timedelta(minutes=GRID_MIN)
    if latest > gap.starts_at and latest.minute % GRID_MIN:
        yield latest


def _first_roomed(
    agenda: Agenda, wish: Wish, starts: Sequence[datetime], therapist_id: int
) -> Offer | None:
    for starts_at in starts:
        span = lasting(starts_at, wish.minutes)
        own = own_room(agenda, therapist_id, starts_at)
        room_id = free_room(agenda, span, wish.room_ids or agenda.room_ids, first=own)
        if room_id or not agenda.room_ids:
            fits = (Fit.OWN_ROOM,) if room_id and room_id == own else ()
            return Offer(span, Place(therapist_id, room_id), fits)
    return None


def own_room(agenda: Agenda, therapist_id: int, at: datetime) -> int | None:
    """The room that the working hours give a therapist at that time."""
    local = at.astimezone(agenda.zone)
    return next(
        (
            one.room_id
            for one in agenda.hours.get(therapist_id, ())
            if one.weekday == local.weekday() and one.from_time <= local.time() < one.to_time
        ),
        None,
    )


def free_room(
    agenda: Agenda, wanted: Span, room_ids: Sequence[int], *, first: int | None = None
) -> int | None:
    """A room that is free for the span: the preferred one if possible."""
    ranked = ([first] if first in room_ids else []) + [one for one in room_ids if one != first]
    return next(
        (
            one
            for one in ranked
            if one is not None and not overlaps_any(wanted, agenda.of_room.get(one, ()))
        ),
        None,
    )


def _on(agenda: Agenda, spans: Spans, day: date) -> Spans:
    """The few of ascending spans that meet a day."""
    if not spans:
        return ()
    whole = whole_day(day, agenda.zone)
    first = bisect_left(spans, Span(whole.starts_at, whole.starts_at))
    last = bisect_left(spans, Span(whole.ends_at, whole.ends_at))
    return spans[max(first - 1, 0) : last]

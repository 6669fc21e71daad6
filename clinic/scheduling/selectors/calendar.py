"""The calendar page: strips of a day or a week, by therapist or by room."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import chain

from clinic.clients.selectors import therapists
from clinic.common.vocabulary import Word
from clinic.scheduling import slots
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import span_of, zone
from clinic.scheduling.selectors.agenda import (
    appointments_in,
    away_of,
    closed_days,
    hours_of,
    span_of_days,
)
from clinic.scheduling.selectors.cards import BookingCard, booking_card, with_card
from clinic.scheduling.slots import Agenda
from clinic.scheduling.spans import Span, days, moment
from clinic.scheduling.staff_time import AppointmentKind, Room
from clinic.scheduling.states import FREED
from clinic.scheduling.strips import Cell, Ruler, gap_pieces, in_hours, lanes, ruler_over, strip

NO_ROOM = 0


class Reach(Word):
    DAY = "day", "day"
    WEEK = "week", "week"


class Rows(Word):
    THERAPIST = "therapist", "therapists"
    ROOM = "room", "rooms"


@dataclass(frozen=True)
class View:
    """What the calendar was asked for. `only_id`: one therapist or one room."""

    on: date
    reach: Reach = Reach.DAY
    rows: Rows = Rows.THERAPIST
    only_id: int | None = None

    @property
    def first_on(self) -> date:
        back = self.on.weekday() if self.reach is Reach.WEEK else 0
        return self.on - timedelta(days=back)

    @property
    def last_on(self) -> date:
        return self.first_on + timedelta(days=6 if self.reach is Reach.WEEK else 0)

    @property
    def earlier_on(self) -> date:
        return self.on - timedelta(days=7 if self.reach is Reach.WEEK else 1)

    @property
    def later_on(self) -> date:
        return self.on + timedelta(days=7 if self.reach is Reach.WEEK else 1)


@dataclass(frozen=True, slots=True)
class Spot:
    """A therapist or room on a day."""

    resource_id: int
    name: str
    day: date
    is_today: bool


@dataclass(frozen=True, slots=True)
class Row:
    """A spot's strip. `note` says why there is no free time."""

    spot: Spot
    note: str
    free_min: int
    cells: Sequence[Cell]

    @property
    def free(self) -> str:
        return in_hours(self.free_min) if self.free_min else ""


@dataclass(frozen=True)
class Band:
    """Rows under one heading: a day's therapists, or a therapist's week."""

    title: str
    rows: Sequence[Row]


@dataclass(frozen=True)
class Calendar:
    view: View
    ruler: Ruler
    bands: Sequence[Band]
    kinds: Sequence[AppointmentKind]
    choices: Sequence[tuple[int, str]]
    freed: Sequence[BookingCard]
    booked: int
    closed: Mapping[date, str]


def calendar(view: View, today: date) -> Calendar:
    """Everything the page shows. Seven queries, whatever the number of appointments."""
    gathered = _Gathered.of(view)
    shown_days = [day for day in days(view.first_on, view.last_on) if gathered.is_shown(day)]
    ruler = ruler_over(zone(), gathered.spans(shown_days))
    rows = [
        row
        for resource_id, name in gathered.resources()
        for day in shown_days
        for row in _rows(gathered, ruler, Spot(resource_id, name, day, day == today))
    ]
    return Calendar(
        view=view,
        ruler=ruler,
        bands=_bands(view, rows),
        kinds=gathered.kinds,
        choices=gathered.choices(),
        freed=gathered.freed,
        booked=len(gathered.cards),
        closed={
            day: closed.title for day in shown_days if (closed := gathered.agenda.closure(day))
        },
    )


@dataclass(frozen=True)
class _Gathered:
    """What the queries brought, ready to be laid out."""

    view: View
    agenda: Agenda
    cards: Sequence[tuple[Span, BookingCard]]
    freed: Sequence[BookingCard]
    people: Mapping[int, str]
    rooms: Mapping[int, str]
    kinds: Sequence[AppointmentKind]
    by_place: Mapping[tuple[int, date], Sequence[tuple[Span, BookingCard]]]

    @classmethod
    def of(cls, view: View) -> "_Gathered":
        whole = span_of_days(view.first_on, view.last_on)
        held, freed = _split(_appointments(view, whole))
        people = {one.pk: one.display_name for one in therapists()}
        by_therapist = _sorted_by(held, lambda card: card.therapist_id)
        people |= {card.therapist_id: card.therapist for _, card in held}
        agenda = Agenda(
            zone=zone(),
            hours=hours_of(people),
            closed=closed_days(view.first_on, view.last_on),
            away=away_of(people, whole),
            of_therapist=by_therapist,
            of_room=_sorted_by(held, lambda card: card.room_id or NO_ROOM),
        )
        return cls(
            view=view,
            agenda=agenda,
            cards=held,
            freed=freed,
            people=people,
            rooms=dict(Room.objects.filter(is_active=True).values_list("pk", "name")),
            kinds=tuple(AppointmentKind.objects.filter(is_active=True)),
            by_place=_by_place(view, held),
        )

    def choices(self) -> list[tuple[int, str]]:
        """The therapists with hours or bookings, or the rooms, that a filter offers."""
        if self.view.rows is Rows.ROOM:
            with_cards = {card.room_id: card.room for _, card in self.cards if card.room_id}
            return list((self.rooms | with_cards).items())
        seen = self.agenda.of_therapist.keys() | self.agenda.hours.keys()
        return [(key, name) for key, name in self.people.items() if key in seen]

    def resources(self) -> list[tuple[int, str]]:
        wanted = self.view.only_id
        found = self.choices()
        if self.view.rows is Rows.ROOM and any(card.room_id is None for _, card in self.cards):
            found.append((NO_ROOM, "No room"))
        return [one for one in found if wanted is None or one[0] == wanted]

    def is_shown(self, day: date) -> bool:
        """A week leaves out days without hours or bookings."""
        if self.view.reach is Reach.DAY or day.weekday() < 5:
            return True
        works = any(one.weekday == day.weekday() for one in chain(*self.agenda.hours.values()))
        return works or any(card.starts_at.date() == day for _, card in self.cards)

    def spans(self, shown_days: Sequence[date]) -> Iterator[Span]:
        """All that the ruler must reach over."""
        yield from (span for span, _ in self.cards)
        yield from (self.open_span(day) for day in shown_days)

    def open_span(self, day: date) -> Span:
        """From the first to the last working hour of anybody on a weekday."""
        hours = [one for one in chain(*self.agenda.hours.values()) if one.weekday == day.weekday()]
        noon = moment(day, datetime.min.time().replace(hour=12), self.agenda.zone)
        starts = [moment(day, one.from_time, self.agenda.zone) for one in hours]
        ends = [moment(day, one.to_time, self.agenda.zone) for one in hours]
        return Span(min(starts, default=noon), max(ends, default=noon))

    def gaps(self, resource_id: int, day: date) -> list[Span]:
        if self.view.rows is Rows.THERAPIST:
            return slots.free_gaps(self.agenda, resource_id, day)
        if resource_id == NO_ROOM:
            return []
        return slots.free_room_gaps(self.agenda, resource_id, day, self.open_span(day))

    def note(self, resource_id: int, day: date) -> str:
        """Why a row has no free time."""
        if closed := self.agenda.closure(day):
            return closed.title or "closed"
        whole = span_of_days(day, day)
        away = self.agenda.away.get(resource_id, ()) if self.view.rows is Rows.THERAPIST else ()
        return "away" if any(one.overlaps(whole) for one in away) else ""


def _appointments(view: View, whole: Span) -> list[Appointment]:
    rows = with_card(appointments_in(whole)).order_by("period")
    if view.only_id is not None and view.rows is Rows.THERAPIST:
        rows = rows.filter(therapist=view.only_id)
    if view.only_id is not None and view.rows is Rows.ROOM:
        rows = rows.filter(room=view.only_id or None)
    return list(rows)


def _split(
    rows: Sequence[Appointment],
) -> tuple[list[tuple[Span, BookingCard]], list[BookingCard]]:
    """Those that hold their time, and those that gave it back."""
    cards = [(span_of(row.period), booking_card(row)) for row in rows]
    held = [one for one in cards if one[1].status not in FREED]
    return held, [card for _, card in cards if card.status in FREED]


def _sorted_by(held, key) -> dict[int, list[Span]]:  # type: ignore[no-untyped-def]
    found: dict[int, list[Span]] = defaultdict(list)
    for span, card in held:
        found[key(card)].append(span)
    return found


def _by_place(
    view: View, held: Sequence[tuple[Span, BookingCard]]
) -> dict[tuple[int, date], list[tuple[Span, BookingCard]]]:
    found: dict[tuple[int, date], list[tuple[Span, BookingCard]]] = defaultdict(list)
    for span, card in held:
        key = card.therapist_id if view.rows is Rows.THERAPIST else card.room_id or NO_ROOM
        found[key, card.starts_at.date()].append((span, card))
    return found


def _rows(gathered: _Gathered, ruler: Ruler, spot: Spot) -> Iterator[Row]:
    """One row, or several where bookings without a room overlap."""
    free = gathered.gaps(spot.resource_id, spot.day)
    by_hour = gathered.view.reach is Reach.DAY
    gaps = [piece for gap in free for piece in gap_pieces(gap, ruler.zone, by_hour=by_hour)]
    note = gathered.note(spot.resource_id, spot.day)
    for lane in lanes(gathered.by_place.get((spot.resource_id, spot.day), ())):
        yield Row(
            spot=spot,
            note=note,
            free_min=sum(gap.minutes for gap in free),
            cells=strip(ruler, spot.day, lane, gaps),
        )


def _bands(view: View, rows: Sequence[Row]) -> list[Band]:
    """A day is one band of everybody; a week has a band for each therapist or room."""
    if view.reach is Reach.DAY:
        return [Band("", rows)]
    named: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        named[row.spot.name].append(row)
    return [Band(name, found) for name, found in named.items()]

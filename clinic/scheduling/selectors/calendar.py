"""The calendar page: strips of a day or a week, by therapist or by room."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import chain

from django.db.models import Q

from clinic.accounts.models import User
from clinic.clients.selectors import therapists
from clinic.common.vocabulary import Word
from clinic.scheduling import slots
from clinic.scheduling.ranges import zone
from clinic.scheduling.selectors.agenda import (
    away_of,
    closed_days,
    hours_of,
    span_of_days,
)
from clinic.scheduling.selectors.cards import BookingCard
from clinic.scheduling.selectors.strip_cards import StripCard, freed_cards, strip_cards
from clinic.scheduling.slots import Agenda
from clinic.scheduling.spans import Span, days, moment
from clinic.scheduling.staff_time import AppointmentKind, Room
from clinic.scheduling.strips import Cell, Ruler, gap_pieces, in_hours, lanes, ruler_over, strip

NO_ROOM = 0
# A shorter gap is a breather, not a time to book. Common practice, no source.
SHORTEST_GAP_MIN = slots.GRID_MIN


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
    def only(self) -> dict[str, int | None]:
        """The one therapist or room as a condition on appointments."""
        if self.only_id is None:
            return {}
        return {self.rows.value: self.only_id or None}

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

    @property
    def day_said(self) -> str:
        return f"{self.day:%a} {self.day.day} {self.day:%b}"


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
    kinds: Mapping[int, AppointmentKind]
    choices: Sequence[tuple[int, str]]
    freed: Sequence[BookingCard]
    booked: int
    closed: Mapping[date, str]

    @property
    def kinds_in_use(self) -> list[AppointmentKind]:
        return [kind for kind in self.kinds.values() if kind.is_active]


def calendar(view: View, *, user: User, today: date) -> Calendar:
    """Everything the page shows. Eight queries, whatever the number of appointments."""
    gathered = _Gathered.of(view, user)
    shown_days = [day for day in days(view.first_on, view.last_on) if gathered.is_shown(day)]
    ruler = ruler_over(gathered.agenda.zone, gathered.spans(shown_days))
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
    cards: Sequence[StripCard]
    freed: Sequence[BookingCard]
    people: Mapping[int, str]
    rooms: Mapping[int, str]
    kinds: Mapping[int, AppointmentKind]
    by_place: Mapping[tuple[int, date], Sequence[tuple[Span, StripCard]]]

    @classmethod
    def of(cls, view: View, user: User) -> "_Gathered":
        whole = span_of_days(view.first_on, view.last_on)
        cards = strip_cards(whole, zone(), **view.only)
        people = _people({card.therapist_id for card in cards})
        return cls(
            view=view,
            agenda=_agenda(view, whole, people, cards),
            cards=cards,
            freed=freed_cards(user, whole, **view.only),
            people=people,
            rooms=_rooms({card.room_id for card in cards if card.room_id}),
            kinds={kind.pk: kind for kind in AppointmentKind.objects.all()},
            by_place=_by_place(view, cards),
        )

    def choices(self) -> list[tuple[int, str]]:
        """The therapists with hours or bookings, or the rooms, that a filter offers."""
        if self.view.rows is Rows.ROOM:
            return list(self.rooms.items())
        seen = self.agenda.of_therapist.keys() | self.agenda.hours.keys()
        return [(key, name) for key, name in self.people.items() if key in seen]

    def resources(self) -> list[tuple[int, str]]:
        wanted = self.view.only_id
        found = self.choices()
        if self.view.rows is Rows.ROOM and any(card.room_id is None for card in self.cards):
            found.append((NO_ROOM, "No room"))
        return [one for one in found if wanted is None or one[0] == wanted]

    def is_shown(self, day: date) -> bool:
        """A week leaves out days without hours or bookings."""
        if self.view.reach is Reach.DAY or day.weekday() < 5:
            return True
        works = any(one.weekday == day.weekday() for one in chain(*self.agenda.hours.values()))
        return works or any(card.on == day for card in self.cards)

    def spans(self, shown_days: Sequence[date]) -> Iterator[Span]:
        """All that the ruler must reach over."""
        yield from (card.span for card in self.cards)
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
        away = self.agenda.away.get(resource_id, ()) if self.view.rows is Rows.THERAPIST else ()
        return "away" if any(one.overlaps(span_of_days(day, day)) for one in away) else ""


def _people(used: Collection[int]) -> dict[int, str]:
    """Clinical staff in use, and whoever else has something booked."""
    found = therapists() | User.objects.filter(pk__in=used)
    return dict(found.values_list("pk", "display_name"))


def _rooms(used: Collection[int]) -> dict[int, str]:
    found = Room.objects.filter(Q(is_active=True) | Q(pk__in=used))
    return dict(found.values_list("pk", "name"))


def _agenda(
    view: View, whole: Span, people: Mapping[int, str], cards: Sequence[StripCard]
) -> Agenda:
    of_therapist: dict[int, list[Span]] = defaultdict(list)
    of_room: dict[int, list[Span]] = defaultdict(list)
    for card in cards:
        of_therapist[card.therapist_id].append(card.span)
        of_room[card.room_id or NO_ROOM].append(card.span)
    return Agenda(
        zone=zone(),
        hours=hours_of(people),
        closed=closed_days(view.first_on, view.last_on),
        away=away_of(people, whole),
        of_therapist=of_therapist,
        of_room=of_room,
    )


def _by_place(
    view: View, cards: Sequence[StripCard]
) -> dict[tuple[int, date], list[tuple[Span, StripCard]]]:
    found: dict[tuple[int, date], list[tuple[Span, StripCard]]] = defaultdict(list)
    for card in cards:
        key = card.therapist_id if view.rows is Rows.THERAPIST else card.room_id or NO_ROOM
        found[key, card.on].append((card.span, card))
    return found


def _rows(gathered: _Gathered, ruler: Ruler, spot: Spot) -> Iterator[Row]:
    """One row, or several where bookings without a room overlap."""
    found = gathered.gaps(spot.resource_id, spot.day)
    free = [gap for gap in found if gap.minutes >= SHORTEST_GAP_MIN]
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

"""One day at the desk: who comes when, what to ask for, what is free, what is still open."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.clients.models import PrecautionFound
from clinic.clients.selectors import therapists
from clinic.scheduling import slots
from clinic.scheduling.desk_words import DESK_WORDS, DeskWord
from clinic.scheduling.models import Appointment, StatusChange
from clinic.scheduling.open_ends import OpenEnd, Seen, open_end
from clinic.scheduling.ranges import span_of, stored, wall
from clinic.scheduling.recalls import Cover
from clinic.scheduling.selectors.agenda import Asked, agenda, span_of_days
from clinic.scheduling.selectors.authorisations import covers_on, starts_at
from clinic.scheduling.selectors.cards import (
    CARD_COLUMNS,
    BookingCard,
    appointments_for,
    booking_card,
)
from clinic.scheduling.spans import Span
from clinic.scheduling.states import FREED, HOLDING, Status

# Shorter gaps are pauses, not free time. Common practice, no source.
SHORTEST_GAP_MIN = 20
# Open ends of earlier days are listed this far back. Common practice, no source.
LOOK_BACK_DAYS = 14


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One appointment as the desk needs it. No clinical field."""

    card: BookingCard
    bring: str
    words: tuple[DeskWord, ...]
    covers: tuple[Cover, ...]
    arrived_at: datetime | None
    next_at: datetime | None
    open_end: OpenEnd | None

    @property
    def is_freed(self) -> bool:
        return self.card.is_freed

    @property
    def thin_covers(self) -> list[Cover]:
        """Authorisations of this day that are running out."""
        return [one for one in self.covers if one.is_running_out(self.card.starts_at.date())]


@dataclass(frozen=True, slots=True)
class FreeGap:
    """Free time of a therapist within the hours, wall time."""

    therapist_id: int
    therapist: str
    starts_at: datetime
    ends_at: datetime
    minutes: int


@dataclass(frozen=True)
class DaySheet:
    """Everything on the sheet of one day."""

    on: date
    lines: Sequence[SheetLine]
    gaps: Sequence[FreeGap]
    counts: Mapping[str, int]
    therapists: Sequence[tuple[int, str]]
    closed: str

    @property
    def open_lines(self) -> list[SheetLine]:
        return [line for line in self.lines if line.open_end]


@dataclass(frozen=True)
class Sheet:
    """Which day's sheet is asked for; `therapist_id` None: everybody's."""

    on: date
    therapist_id: int | None = None


def day_sheet(sheet: Sheet, user: User, *, now: datetime) -> DaySheet:
    """The sheet of a day. Eleven queries, whatever the number of appointments."""
    whole = span_of_days(sheet.on, sheet.on)
    rows = list(_rows(user).filter(period__overlap=stored(whole)).order_by("period", "therapist"))
    people = {one.pk: one.display_name for one in therapists()}
    people |= {row.therapist_id: row.therapist.display_name for row in rows}
    shown = [row for row in rows if sheet.therapist_id in (None, row.therapist_id)]
    lines = _lines(shown, sheet.on, now)
    gaps, closed = _gaps(people, sheet)
    return DaySheet(
        on=sheet.on,
        lines=lines,
        gaps=gaps,
        counts=_counts(lines),
        therapists=tuple(people.items()),
        closed=closed,
    )


def earlier_open_ends(user: User, *, on: date, now: datetime) -> list[SheetLine]:
    """Appointments of the days before whose outcome nobody has noted. Seven queries at most."""
    before = span_of_days(on - timedelta(days=LOOK_BACK_DAYS), on - timedelta(days=1))
    unsettled = sorted(HOLDING - {Status.DONE})
    rows = _rows(user).filter(period__overlap=stored(before), status__in=unsettled)
    return [line for line in _lines(list(rows.order_by("period")), on, now) if line.open_end]


def _rows(user: User) -> QuerySet[Appointment]:
    return appointments_for(user).only(*CARD_COLUMNS, "kind__bring")


def day_of(therapist: User, on: date) -> list[BookingCard]:
    """Whom a therapist sees on a day, by time, without times given back. One query."""
    mine = appointments_for(therapist).filter(therapist=therapist, status__in=HOLDING)
    whole = stored(span_of_days(on, on))
    return [booking_card(row) for row in mine.filter(period__overlap=whole).order_by("period")]


def _lines(rows: Sequence[Appointment], on: date, now: datetime) -> list[SheetLine]:
    client_ids = {row.client_id for row in rows}
    words, covers = _words(client_ids), covers_on(client_ids, on=on)
    arrivals, coming = _arrivals(rows), _next(client_ids, rows)
    lines = []
    for row in rows:
        card, span = booking_card(row), span_of(row.period)
        later = [at for at in coming.get(row.client_id, ()) if at >= span.ends_at]
        next_at = min(later, default=None)
        lines.append(
            SheetLine(
                card=card,
                bring=row.kind.bring,
                words=tuple(word for word in DeskWord if word in words.get(row.client_id, ())),
                covers=tuple(covers.get(row.client_id, ())),
                arrived_at=arrivals.get(row.pk),
                next_at=wall(next_at) if next_at else None,
                open_end=open_end(Seen(card.status, span.ends_at, next_at), now=now),
            )
        )
    return lines


def _words(client_ids: Collection[UUID]) -> dict[UUID, set[DeskWord]]:
    """What the open precautions mean at the desk. The precautions themselves are not fetched:
    each of three queries asks who has one of several, and answers with the clients alone.
    """
    found: dict[UUID, set[DeskWord]] = defaultdict(set)
    for word, meant in DESK_WORDS.items():
        rows = PrecautionFound.objects.filter(
            client__in=client_ids, cleared_on=None, precaution__in=sorted(meant)
        ).order_by()
        for client_id in rows.values_list("client_id", flat=True).distinct():
            found[client_id].add(word)
    return found


def _arrivals(rows: Iterable[Appointment]) -> dict[UUID, datetime]:
    """When those who came arrived, by the latest word."""
    changes = StatusChange.objects.filter(
        appointment__in=[row.pk for row in rows], status=Status.ARRIVED
    ).order_by("at")
    return {pk: wall(at) for pk, at in changes.values_list("appointment_id", "at")}


def _next(client_ids: Collection[UUID], rows: Sequence[Appointment]) -> dict[UUID, list[datetime]]:
    """When each client comes from the first of these appointments on."""
    if not rows:
        return {}
    first = min(span_of(row.period).starts_at for row in rows)
    coming: dict[UUID, list[datetime]] = defaultdict(list)
    held = Appointment.objects.filter(
        client__in=client_ids, status__in=sorted(HOLDING), period__endswith__gt=first
    )
    for client_id, at in held.order_by().values_list("client_id", starts_at()):
        coming[client_id].append(at)
    return coming


def _gaps(people: Mapping[int, str], sheet: Sheet) -> tuple[list[FreeGap], str]:
    """Free time of those who work that day, by time; and why the clinic is closed, if it is."""
    known = agenda(Asked(sheet.on, sheet.on, list(people)))
    closure = known.closure(sheet.on)
    gaps = [
        _gap(therapist_id, people[therapist_id], span)
        for therapist_id in people
        if sheet.therapist_id in (None, therapist_id)
        for span in slots.free_gaps(known, therapist_id, sheet.on)
        if span.minutes >= SHORTEST_GAP_MIN
    ]
    ordered = sorted(gaps, key=lambda gap: (gap.starts_at, gap.therapist))
    return ordered, (closure.title or "closed") if closure else ""


def _gap(therapist_id: int, therapist: str, span: Span) -> FreeGap:
    return FreeGap(therapist_id, therapist, wall(span.starts_at), wall(span.ends_at), span.minutes)


def _counts(lines: Iterable[SheetLine]) -> dict[str, int]:
    """How many are expected, here, done and lost."""
    groups = {
        "expected": {Status.BOOKED, Status.CONFIRMED},
        "here": {Status.ARRIVED, Status.IN_SESSION},
        "done": {Status.DONE},
        "lost": set(FREED),
    }
    return {
        name: sum(line.card.status in members for line in lines) for name, members in groups.items()
    }

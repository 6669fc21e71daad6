"""The wait list, the times that came free, and who fits them."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.scheduling import waiting as rules
from clinic.scheduling.models import Appointment, WaitListEntry, WaitListOffer
from clinic.scheduling.ranges import span_of, stored, wall, zone
from clinic.scheduling.selectors.cards import BookingCard, booking_card, with_card
from clinic.scheduling.spans import Span
from clinic.scheduling.states import FREED, HOLDING, CancelReason
from clinic.scheduling.waiting import Match, Misfit, Opening, Waiting
from clinic.scheduling.words import OfferAnswer, Urgency, Weekday

# How far ahead times that were given back are shown. Common practice, no source.
OPENINGS_DAYS = 14
# Cancelled by the practice: such a time has not come free.
OURS = [CancelReason.STAFF, CancelReason.CLOSED]
# Offers shown with an opening; the table keeps all.
OFFERS_SHOWN = 20


@dataclass(frozen=True, slots=True)
class EntryCard:
    """Somebody who waits. No clinical field: anybody of the practice may see it."""

    id: int
    client_id: UUID
    client_name: str
    record_number: str
    phone: str
    kind: str
    mark: str
    minutes: int
    therapist: str
    days: str
    hours: str
    dates: str
    urgency: Urgency
    note: str
    joined_at: datetime
    offers: int


@dataclass(frozen=True, slots=True)
class Fitting:
    """Somebody who fits an opening: when, and why."""

    entry: EntryCard
    starts_at: datetime
    ends_at: datetime
    match: Match


@dataclass(frozen=True, slots=True)
class NotFitting:
    entry: EntryCard
    misfit: Misfit


@dataclass(frozen=True)
class FreeTime:
    """A time that was given back and is still free, and who fits it."""

    card: BookingCard
    fitting: Sequence[Fitting]
    not_fitting: Sequence[NotFitting]


def entries_for(user: User) -> QuerySet[WaitListEntry]:
    """The entries this person may see; what is not in it is a 404."""
    if not permits.may(user, "schedule.see"):
        return WaitListEntry.objects.none()
    return WaitListEntry.objects.select_related("client", "kind", "therapist")


def wait_list(user: User) -> list[EntryCard]:
    """Everybody who waits, the most urgent and then the longest waiting first. Two queries."""
    rows = _open(user)
    cards = _cards(rows)
    order = {row.pk: (rules.RANK[Urgency(row.urgency)], row.joined_at) for row in rows}
    return sorted(cards.values(), key=lambda card: order[card.id])


def freed_for(user: User) -> QuerySet[Appointment]:
    """Appointments that gave their time back."""
    if not permits.may(user, "schedule.see"):
        return Appointment.objects.none()
    return with_card(Appointment.objects.filter(status__in=sorted(FREED)))


def free_times(user: User, *, now: datetime) -> list[FreeTime]:
    """Times given back within the days ahead and still free, soonest first, with who fits.

    Five queries, whatever the number of times and entries.
    """
    ahead = Span(now, now + timedelta(days=OPENINGS_DAYS))
    holder = Appointment.objects.filter(
        therapist=OuterRef("therapist"),
        status__in=sorted(HOLDING),
        period__overlap=OuterRef("period"),
    )
    rows = (
        freed_for(user)
        .filter(period__contained_by=stored(ahead))
        .exclude(Q(cancel_reason__in=OURS) | Exists(holder))
    )
    return _matched(list(rows.order_by("period")), user)


def free_time(appointment: Appointment, user: User) -> FreeTime:
    """One time that was given back, and who fits it. Four queries."""
    return _matched([appointment], user)[0]


def offers_of(appointment: Appointment) -> QuerySet[WaitListOffer]:
    """Who was offered the time of an appointment, and what they said, latest first."""
    offers = WaitListOffer.objects.filter(
        therapist=appointment.therapist_id, period__overlap=appointment.period
    )
    joined = offers.select_related("entry__client", "offered_by").order_by("-offered_at", "-pk")
    return joined[:OFFERS_SHOWN]


def _open(user: User) -> list[WaitListEntry]:
    return list(entries_for(user).filter(closed_at=None, client__deactivated_at=None))


def _matched(freed: Sequence[Appointment], user: User) -> list[FreeTime]:
    openings = {
        row.pk: Opening(span_of(row.period), row.therapist_id, row.room_id) for row in freed
    }
    if not openings:
        return []
    entries = _open(user)
    cards = _cards(entries)
    busy = _busy(openings.values(), [row.client_id for row in entries])
    declined = _declined(entries)
    found = []
    for row in freed:
        opening = openings[row.pk]
        others = (entry for entry in entries if entry.client_id != row.client_id)
        waiting = [_waiting(entry, opening, busy, declined) for entry in others]
        matches, misfits = rules.sorted_out(opening, waiting, zone())
        found.append(_free_time(row, cards, matches, misfits))
    return found


def _free_time(
    row: Appointment,
    cards: Mapping[int, EntryCard],
    matches: Iterable[Match],
    misfits: Iterable[Misfit],
) -> FreeTime:
    return FreeTime(
        card=booking_card(row),
        fitting=[
            Fitting(
                entry=cards[one.waiting.entry_id],
                starts_at=wall(one.span.starts_at),
                ends_at=wall(one.span.ends_at),
                match=one,
            )
            for one in matches
        ],
        not_fitting=[NotFitting(cards[one.waiting.entry_id], one) for one in misfits],
    )


def _busy(openings: Collection[Opening], client_ids: Collection[UUID]) -> dict[UUID, list[Span]]:
    """What the waiting clients have booked from the first opening to the last."""
    whole = Span(
        min(one.span.starts_at for one in openings), max(one.span.ends_at for one in openings)
    )
    rows = Appointment.objects.filter(
        client__in=set(client_ids), status__in=sorted(HOLDING), period__overlap=stored(whole)
    ).order_by("period")
    busy: dict[UUID, list[Span]] = defaultdict(list)
    for client_id, period in rows.values_list("client_id", "period"):
        busy[client_id].append(span_of(period))
    return busy


def _declined(entries: Collection[WaitListEntry]) -> dict[int, list[tuple[int, Span]]]:
    """What those who wait have declined: therapist and span, by entry."""
    rows = WaitListOffer.objects.filter(
        entry__in=[row.pk for row in entries], answer=OfferAnswer.DECLINED
    )
    said: dict[int, list[tuple[int, Span]]] = defaultdict(list)
    for entry_id, therapist_id, period in rows.values_list("entry_id", "therapist_id", "period"):
        said[entry_id].append((therapist_id, span_of(period)))
    return said


def _waiting(
    entry: WaitListEntry,
    opening: Opening,
    busy: Mapping[UUID, Sequence[Span]],
    declined: Mapping[int, Sequence[tuple[int, Span]]],
) -> Waiting:
    said_no = (
        therapist_id == opening.therapist_id and span.overlaps(opening.span)
        for therapist_id, span in declined.get(entry.pk, ())
    )
    return Waiting(
        entry_id=entry.pk,
        client_id=entry.client_id,
        minutes=entry.minutes,
        joined_at=entry.joined_at,
        urgency=Urgency(entry.urgency),
        therapist_id=entry.therapist_id,
        weekdays=frozenset(entry.weekdays),
        from_time=entry.from_time,
        to_time=entry.to_time,
        from_on=entry.from_on,
        until_on=entry.until_on,
        has_declined=any(said_no),
        busy=busy.get(entry.client_id, ()),
    )


def _cards(entries: Collection[WaitListEntry]) -> dict[int, EntryCard]:
    asked = WaitListOffer.objects.filter(entry__in=[row.pk for row in entries])
    offers: dict[int, int] = defaultdict(int)
    for entry_id in asked.values_list("entry_id", flat=True):
        offers[entry_id] += 1
    return {row.pk: _card(row, offers[row.pk]) for row in entries}


def _card(row: WaitListEntry, offers: int) -> EntryCard:
    client = row.client
    return EntryCard(
        id=row.pk,
        client_id=client.pk,
        client_name=f"{client.given_name} {client.family_name}",
        record_number=client.record_number,
        phone=client.phone,
        kind=row.kind.name,
        mark=row.kind.mark,
        minutes=row.minutes,
        therapist=row.therapist.display_name if row.therapist else "",
        days=", ".join(day.label[:3] for day in Weekday if day.number in row.weekdays),
        hours=_between(*(f"{at:%H:%M}" if at else "" for at in (row.from_time, row.to_time))),
        dates=_between(*(f"{on:%-d %b}" if on else "" for on in (row.from_on, row.until_on))),
        urgency=Urgency(row.urgency),
        note=row.note,
        joined_at=wall(row.joined_at),
        offers=offers,
    )


def _between(first: str, last: str) -> str:
    if first and last:
        return f"{first}–{last}"
    return f"from {first}" if first else f"until {last}" if last else ""

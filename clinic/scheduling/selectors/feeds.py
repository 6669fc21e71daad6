"""Calendar feeds, and appointments as calendar files: initials only in the one, no kind of
appointment in either."""

import hashlib
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

from clinic.accounts import permits
from clinic.accounts.models import Practice, User
from clinic.clients.selectors import therapists
from clinic.scheduling.calendar_files import Event, calendar_file, initials
from clinic.scheduling.models import Appointment, CalendarFeed
from clinic.scheduling.ranges import span_of, stored, zone
from clinic.scheduling.spans import Span
from clinic.scheduling.staff_time import Room
from clinic.scheduling.states import CANCELLED, HOLDING

# What a feed holds around now. Common practice, no source.
PAST_DAYS, AHEAD_DAYS = 30, 180

FEED_COLUMNS = (
    "client__given_name",
    "client__family_name",
    "room__name",
    "period",
    "status_at",
    "version",
)


def hashed(token: str) -> str:
    """What is kept of a feed's address. The token has 256 random bits, so one round is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


def feeds_for(user: User) -> QuerySet[CalendarFeed]:
    """The feeds this person may see and revoke: the clinic lead all, others their own and the
    rooms'."""
    feeds = CalendarFeed.objects.select_related("therapist", "room", "made_by")
    if permits.may(user, "schedule.manage"):
        return feeds
    return feeds.filter(Q(therapist=user) | Q(made_by=user))


def live_feed(token: str) -> CalendarFeed | None:
    """The feed behind an address, unless it is unknown, revoked, or of somebody who left."""
    found = CalendarFeed.objects.select_related("therapist", "room").filter(
        token_hash=hashed(token), revoked_at=None
    )
    return found.exclude(therapist__is_active=False).exclude(room__is_active=False).first()


def feed_file(feed: CalendarFeed, *, now: datetime, host: str) -> bytes:
    """The bookings of a therapist or a room as a calendar. One query. Initials only."""
    around = Span(now - timedelta(days=PAST_DAYS), now + timedelta(days=AHEAD_DAYS))
    rows = Appointment.objects.filter(
        period__overlap=stored(around), status__in=sorted(HOLDING)
    ).filter(Q(therapist=feed.therapist_id) if feed.therapist_id else Q(room=feed.room_id))
    joined = rows.select_related("client", "room").only(*FEED_COLUMNS).order_by("period")
    events = [_masked(row, host) for row in joined]
    return calendar_file(events, zone=zone(), title=str(feed.therapist or feed.room))


def appointment_file(appointment: Appointment, *, host: str) -> bytes:
    """One appointment for the client's own calendar: when and where, not what for. One query."""
    practice = Practice.objects.first() or Practice()
    span = span_of(appointment.period)
    event = Event(
        uid=uid(appointment, host),
        starts_at=span.starts_at,
        ends_at=span.ends_at,
        summary=f"Appointment, {practice.name}",
        changed_at=appointment.status_at,
        sequence=appointment.version - 1,
        location=", ".join(filter(None, [practice.name, practice.street, practice.town])),
        description=f"If you cannot come, please call {practice.phone}." if practice.phone else "",
        is_cancelled=appointment.status in CANCELLED,
    )
    return calendar_file([event], zone=zone())


def uid(appointment: Appointment, host: str) -> str:
    """The same for as long as the appointment lives, so that a change replaces the old entry."""
    return f"{appointment.pk}@{host}"


def _masked(row: Appointment, host: str) -> Event:
    span = span_of(row.period)
    return Event(
        uid=uid(row, host),
        starts_at=span.starts_at,
        ends_at=span.ends_at,
        summary=initials(row.client.given_name, row.client.family_name),
        changed_at=row.status_at,
        sequence=row.version - 1,
        location=row.room.name if row.room else "",
    )


def therapists_to_feed(user: User) -> QuerySet[User]:
    """Whose bookings this person may give an address to: the clinic lead everybody's, a therapist
    their own, the front desk nobody's."""
    if permits.may(user, "schedule.manage"):
        return therapists()
    return therapists().filter(pk=user.pk)


def rooms_to_feed() -> QuerySet[Room]:
    return Room.objects.filter(is_active=True)

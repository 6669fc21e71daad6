"""Make and revoke the secret address of a calendar feed."""

import secrets
from dataclasses import dataclass
from datetime import timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.scheduling.models import Appointment, CalendarFeed
from clinic.scheduling.selectors.feeds import hashed
from clinic.scheduling.staff_time import Room

TOKEN_BYTES = 32
# Programs ask every few minutes; the day sheet of the database need not know each time.
NOTED_EVERY = timedelta(hours=1)


@dataclass(frozen=True)
class FeedOf:
    """Whose bookings a feed holds: one of the two."""

    therapist: User | None = None
    room: Room | None = None


@transaction.atomic
def make_feed(*, of: FeedOf, by: User) -> tuple[CalendarFeed, str]:
    """A new feed and its token. The token is given back once and kept nowhere."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    feed = CalendarFeed.objects.create(
        token_hash=hashed(token), therapist=of.therapist, room=of.room, made_by=by
    )
    audit.record(by, "feed.made", subject=feed)
    return feed, token


@transaction.atomic
def revoke_feed(*, feed: CalendarFeed, by: User) -> None:
    """Close an address for good. Once closed it stays closed."""
    open_feeds = CalendarFeed.objects.filter(pk=feed.pk, revoked_at=None)
    if open_feeds.update(revoked_at=timezone.now()):
        audit.record(by, "feed.revoked", subject=feed)


def note_feed_read(*, feed: CalendarFeed) -> None:
    """Keep when a feed was last read, to the hour. Nobody is signed in, so nobody is named."""
    now = timezone.now()
    stale = Q(last_read_at=None) | Q(last_read_at__lt=now - NOTED_EVERY)
    CalendarFeed.objects.filter(stale, pk=feed.pk).update(last_read_at=now)


@transaction.atomic
def note_file_given(*, appointment: Appointment, by: User) -> None:
    """Record that an appointment was handed out as a calendar file."""
    audit.record(by, "appointment.file", client=appointment.client, subject=appointment)

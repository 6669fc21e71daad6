"""Join the wait list, offer a free time, and fill it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.scheduling.desk_errors import EntryClosed
from clinic.scheduling.errors import EndsBeforeStart
from clinic.scheduling.models import Appointment, WaitListEntry, WaitListOffer
from clinic.scheduling.ranges import stored
from clinic.scheduling.services.booking import Booking, Slot, book
from clinic.scheduling.words import OfferAnswer

FIELDS = (
    "kind",
    "minutes",
    "therapist",
    "weekdays",
    "from_time",
    "to_time",
    "from_on",
    "until_on",
    "urgency",
    "note",
)
BOOKED = "booked from the wait list"


@dataclass(frozen=True)
class Offered:
    """A free time offered to somebody who waits."""

    entry: WaitListEntry
    slot: Slot


@transaction.atomic
def join_wait_list(*, client: Client, said: Mapping[str, Any], by: User) -> WaitListEntry:
    """Put a client on the list; `said` has the values of FIELDS. Raises EndsBeforeStart."""
    for first, last in (("from_time", "to_time"), ("from_on", "until_on")):
        if said[first] and said[last] and said[last] < said[first]:
            raise EndsBeforeStart(last)
    entry = WaitListEntry.objects.create(
        client=client, joined_by=by, **{name: said[name] for name in FIELDS}
    )
    audit.record(by, "wait_list.joined", client=client, subject=entry)
    return entry


@transaction.atomic
def leave_wait_list(*, entry: WaitListEntry, reason: str, by: User) -> WaitListEntry:
    """Take a client off the list, for a reason. Raises EntryClosed."""
    kept = _open(entry)
    _close(kept, reason)
    audit.record(by, "wait_list.left", client=kept.client, subject=kept)
    return kept


@transaction.atomic
def log_offer(*, offered: Offered, answer: OfferAnswer, by: User) -> WaitListOffer:
    """Keep that a time was offered and what was said. Raises EntryClosed."""
    return _offer(_open(offered.entry), offered.slot, answer, by=by)


@transaction.atomic
def book_from_wait_list(*, offered: Offered, by: User, is_deliberate: bool = False) -> Appointment:
    """Give the time to the client, keep the offer as taken, and take the client off the list.

    Raises EntryClosed and what `booking.book` raises.
    """
    # The client first, as a merge locks it: its rows, this entry too, come after.
    Client.objects.select_for_update(no_key=True).get(pk=offered.entry.client_id)
    entry = _open(offered.entry)
    booking = Booking(entry.client, entry.kind, desk_note=entry.note)
    made = book(booking=booking, slot=offered.slot, by=by, is_deliberate=is_deliberate)
    _offer(entry, offered.slot, OfferAnswer.TAKEN, by=by)
    _close(entry, BOOKED)
    return made


def _open(entry: WaitListEntry) -> WaitListEntry:
    rows = WaitListEntry.objects.select_for_update(of=("self",)).select_related("client", "kind")
    kept = rows.get(pk=entry.pk)
    if kept.closed_at is not None:
        raise EntryClosed
    return kept


def _close(entry: WaitListEntry, reason: str) -> None:
    entry.closed_at, entry.closed_reason = timezone.now(), reason
    entry.save(update_fields=["closed_at", "closed_reason"])


def _offer(entry: WaitListEntry, slot: Slot, answer: OfferAnswer, *, by: User) -> WaitListOffer:
    kept = WaitListOffer.objects.create(
        entry=entry,
        therapist=slot.therapist,
        period=stored(slot.span),
        answer=answer,
        offered_by=by,
    )
    audit.record(by, "wait_list.offered", client=entry.client, subject=entry)
    return kept

"""Holds a record against erasure, and lifts the hold."""

from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.clients.services import lock_record
from clinic.keeping import errors
from clinic.keeping.belongings import family
from clinic.keeping.models import STANDING, Hold
from clinic.keeping.selectors.retention import holds_of


@transaction.atomic
def hold_record(*, client: Client, reason: str, by: User) -> Hold:
    """Keep the record until the hold is lifted, whatever its period.

    An erasure that waits for its second person goes on waiting, and is refused. Raises RecordGone,
    HeldAlready.
    """
    client = lock_record(client=client)
    if holds_of(family(client)).filter(STANDING).exists():
        raise errors.HeldAlready
    hold = Hold.objects.create(client=client, reason=reason, placed_by=by)
    audit.record(by, "hold.placed", client=client, subject=hold)
    return hold


@transaction.atomic
def lift_hold(*, hold: Hold, because: str, by: User) -> Hold:
    """Let the record be erased again, once its period is over. Raises NotOpen."""
    stored = Hold.objects.select_for_update().get(pk=hold.pk)
    if stored.lifted_at is not None:
        raise errors.NotOpen
    stored.lifted_at, stored.lifted_by, stored.lifted_because = timezone.now(), by, because
    stored.save(update_fields=["lifted_at", "lifted_by", "lifted_because"])
    audit.record(by, "hold.lifted", client=stored.client, subject=stored)
    return stored

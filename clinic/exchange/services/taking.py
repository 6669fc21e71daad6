"""Who took what out of the practice. Recorded before the first byte leaves."""

from django.db import transaction

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.clients.selectors import standing_clients
from clinic.exchange.words import Taken


@transaction.atomic
def note_taken(*, client: Client, what: Taken, by: User) -> None:
    """Record that one client's record, or girths, left the practice."""
    audit.record(by, what.verb, client=client, subject=client)


@transaction.atomic
def note_all_taken(*, what: Taken, by: User) -> int:
    """Record that everybody's left: one entry for the act, one for each client. Returns how many.

    Two statements a thousand clients, whatever their number.
    """
    audit.record(by, what.verb_for_all)
    keys = standing_clients().order_by("pk").values_list("pk", flat=True)
    return audit.record_for_each(by, what.verb, clients=keys.iterator())

"""Who took what out of the practice. Recorded before the first byte leaves."""

from django.db import transaction

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.clients.selectors import standing_clients
from clinic.exchange.words import Taken

# Measured on two busy cores: others wait 11 s for 20,000 at once, at most 0.1 s for 250 at a time.
AT_A_TIME = 250


@transaction.atomic
def note_taken(*, client: Client, what: Taken, by: User) -> None:
    """Record that one client's record, or girths, left the practice."""
    audit.record(by, what.verb, client=client, subject=client)


def note_all_taken(*, what: Taken, by: User) -> int:
    """Record that everybody's left: one entry for the act, one for each client. Returns how many.

    Committed some hundred at a time: the chain is locked until a COMMIT ends, and every page that
    notes a look waits for it. Broken off half way, more is noted than left, never less.
    """
    audit.record(by, what.verb_for_all)
    keys = list(standing_clients().order_by("pk").values_list("pk", flat=True))
    for first in range(0, len(keys), AT_A_TIME):
        with transaction.atomic():
            audit.record_for_each(by, what.verb, clients=keys[first : first + AT_A_TIME])
    return len(keys)

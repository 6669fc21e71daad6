"""Record what a payer has authorised."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.scheduling.errors import EndsBeforeStart
from clinic.scheduling.models import Authorisation

FIELDS = ("payer", "number", "from_on", "to_on", "visits", "note")


@transaction.atomic
def record_authorisation(*, client: Client, said: Mapping[str, Any], by: User) -> Authorisation:
    """Keep an authorisation; `said` has the values of FIELDS. Raises EndsBeforeStart."""
    _refuse_backwards(said)
    kept = Authorisation.objects.create(client=client, recorded_by=by, **_of(said))
    audit.record(by, "authorisation.recorded", client=client, subject=kept)
    return kept


@transaction.atomic
def edit_authorisation(
    *, authorisation: Authorisation, said: Mapping[str, Any], by: User
) -> Authorisation:
    """Correct what was recorded. What was used is counted, so nothing else changes.

    Raises EndsBeforeStart.
    """
    _refuse_backwards(said)
    kept = Authorisation.objects.select_for_update(of=("self",)).get(pk=authorisation.pk)
    for name, value in _of(said).items():
        setattr(kept, name, value)
    kept.save(update_fields=list(FIELDS))
    audit.record(by, "authorisation.edited", client=kept.client, subject=kept)
    return kept


def note_authorisations_seen(*, client: Client, by: User) -> None:
    """Record that somebody read what payers authorised for a client."""
    audit.record(by, "authorisations.seen", client=client)


def _of(said: Mapping[str, Any]) -> dict[str, Any]:
    return {name: said[name] for name in FIELDS}


def _refuse_backwards(said: Mapping[str, Any]) -> None:
    if said["to_on"] < said["from_on"]:
        raise EndsBeforeStart("to_on")

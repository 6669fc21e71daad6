"""Keeping what a therapist has typed and not yet recorded."""

from collections.abc import Mapping

from django.db import transaction

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode
from clinic.common.vocabulary import Limb
from measurements.models import GirthDraft


@transaction.atomic
def keep_draft(*, episode: Episode, limb: Limb, typed: Mapping[str, str], by: User) -> GirthDraft:
    """Keep every typed field as it is, in place of this person's earlier draft for the limb.

    The log has one entry a draft, not one for each of its many savings.
    """
    draft, is_new = GirthDraft.objects.update_or_create(
        episode=episode, limb=limb, by=by, defaults={"typed": dict(typed)}
    )
    if is_new:
        audit.record(by, "girths.draft_saved", client=episode.client, subject=draft)
    return draft


@transaction.atomic
def discard_draft(*, episode: Episode, limb: Limb, by: User) -> bool:
    """Remove this person's draft for the limb; False when there was none."""
    found = GirthDraft.objects.filter(episode=episode, limb=limb, by=by)
    is_there = found.exists()
    if is_there:
        found.delete()
        audit.record(by, "girths.draft_discarded", client=episode.client)
    return is_there

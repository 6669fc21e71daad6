"""What the client page and lists show of programmes: fixed queries for many episodes."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Q

from clinic.clients.models import Episode
from programmes.models import AdherenceRecord, Programme
from programmes.selectors.flags import WithdrawalFlag, flags_of


@dataclass(frozen=True)
class ProgrammeCard:
    """What a client holds, what is being written, what was told last, and whether to take back."""

    held: Programme | None
    draft: Programme | None
    latest: AdherenceRecord | None
    flag: WithdrawalFlag | None


def programme_cards(episodes: Iterable[Episode]) -> dict[UUID, ProgrammeCard]:
    """A card for each episode. Three queries for all of them."""
    listed = list(episodes)
    keys = [episode.pk for episode in listed]
    ended = Q(withdrawn_at__isnull=False) | Q(superseded_at__isnull=False)
    shown = list(Programme.objects.filter(episode__in=keys).exclude(ended).defer("handout"))
    held = {one.episode_id: one for one in shown if one.issued_at}
    drafts = {one.episode_id: one for one in shown if not one.issued_at}
    told = {one.episode_id: one for one in AdherenceRecord.objects.filter(episode__in=keys)}
    flags = flags_of(held.values(), {episode.pk: episode.client_id for episode in listed})
    return {
        key: ProgrammeCard(held.get(key), drafts.get(key), told.get(key), flags.get(key))
        for key in keys
    }

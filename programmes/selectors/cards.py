"""What the client page and lists show of programmes: fixed queries for many episodes."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from clinic.clients.models import Episode
from programmes.models import AdherenceRecord, Programme
from programmes.selectors.flags import WithdrawalFlag, withdrawal_flags
from programmes.selectors.programmes import IN_HAND


@dataclass(frozen=True)
class ProgrammeCard:
    """What a client holds, what is being written, what was told last, and whether to take back."""

    held: Programme | None
    draft: Programme | None
    latest: AdherenceRecord | None
    flag: WithdrawalFlag | None


def programme_cards(episodes: Iterable[Episode]) -> dict[UUID, ProgrammeCard]:
    """A card for each episode. Five queries for all of them."""
    listed = list(episodes)
    keys = [episode.pk for episode in listed]
    shown = Programme.objects.filter(episode__in=keys).defer("handout")
    held = {one.episode_id: one for one in shown.filter(**IN_HAND)}
    drafts = {one.episode_id: one for one in shown.filter(issued_at=None)}
    told = {one.episode_id: one for one in AdherenceRecord.objects.filter(episode__in=keys)}
    flags = withdrawal_flags(listed)
    return {
        key: ProgrammeCard(held.get(key), drafts.get(key), told.get(key), flags.get(key))
        for key in keys
    }

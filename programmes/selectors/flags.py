"""Programmes that should be taken back: a precaution was found after they were given."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from uuid import UUID

from clinic.clients.models import Episode, PrecautionFound
from clinic.common.vocabulary import Precaution
from programmes.body.precautions import EFFECTS, Effect
from programmes.models import Programme
from programmes.selectors.programmes import IN_HAND


@dataclass(frozen=True)
class WithdrawalFlag:
    """A programme in a client's hands, and the precautions it knows nothing of."""

    programme: Programme
    found: tuple[PrecautionFound, ...]

    @property
    def effects(self) -> tuple[Effect, ...]:
        return tuple(EFFECTS[Precaution(one.precaution)] for one in self.found)

    @property
    def is_urgent(self) -> bool:
        """True if one of them bars every step."""
        return any("all_steps" in effect.blocks for effect in self.effects)


def withdrawal_flags(episodes: Iterable[Episode]) -> dict[UUID, WithdrawalFlag]:
    """By episode, the programmes in hand given before a precaution still open. Two queries."""
    keys = {episode.pk: episode.client_id for episode in episodes}
    held = Programme.objects.filter(episode__in=keys, **IN_HAND).defer("handout")
    return flags_of(held, keys)


def flags_of(held: Iterable[Programme], clients: Mapping[UUID, UUID]) -> dict[UUID, WithdrawalFlag]:
    """The flags among programmes in hand; `clients` tells whose each episode is. One query."""
    by_client: dict[UUID, list[PrecautionFound]] = {}
    for found in PrecautionFound.objects.filter(client__in=clients.values(), cleared_on=None):
        by_client.setdefault(found.client_id, []).append(found)
    flags = (_flag(one, by_client.get(clients[one.episode_id], [])) for one in held)
    return {flag.programme.episode_id: flag for flag in flags if flag.found}


def _flag(programme: Programme, found: list[PrecautionFound]) -> WithdrawalFlag:
    known = {one["id"] for one in (programme.precautions or {}).get("open", ())}
    return WithdrawalFlag(programme, tuple(one for one in found if one.pk not in known))

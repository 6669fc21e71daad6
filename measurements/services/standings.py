"""Keeping the projection of standings as the girths have it, in the transaction of the change."""

from collections.abc import Iterable
from uuid import UUID

from django.db import transaction

from clinic.clients.models import Episode
from measurements.kept_standing import KeptStanding
from measurements.selectors.standings import batches, reckoned_standings, row_of


@transaction.atomic
def keep_standings(episode_ids: Iterable[UUID]) -> int:
    """Put the kept standings of these episodes right; returns how many rows they have now.

    Whoever records, strikes, imports or chooses a baseline, or changes the regions of an episode,
    calls it. No log entry of its own: it says nothing that the change does not say already.
    """
    locked = Episode.objects.select_for_update().order_by("pk").filter(pk__in=list(episode_ids))
    keys = list(locked.values_list("pk", flat=True))
    found = reckoned_standings(keys)
    KeptStanding.objects.filter(episode__in=keys).delete()
    rows = [row_of(episode_id, standing) for (episode_id, _), standing in found.items()]
    return len(KeptStanding.objects.bulk_create(rows))


def episode_followed(episode: Episode) -> None:
    """For `EPISODE_FOLLOWERS`: the affected sides decide what is set against what."""
    keep_standings([episode.pk])


def rebuild_standings() -> int:
    """Make every kept standing anew, a batch of episodes at a time; returns how many there are."""
    return sum(keep_standings(keys) for keys in batches())

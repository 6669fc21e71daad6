"""Home programmes that were handed out."""

from collections.abc import Iterable, Iterator

from clinic.clients.models import Episode
from clinic.common.print import can_print
from clinic.demo.stage import Act
from programmes.services.drafts import begin_programme
from programmes.services.issue import issue_programme


def acts_of_programmes(days: Iterable[int], episode: Episode) -> Iterator[Act]:
    """A new version on each of the days, as the plan proposes it."""
    for day in days:
        yield Act(day, 9, lambda: _hand_out(episode))


def _hand_out(episode: Episode) -> None:
    """A machine that cannot print hands none out: what is kept is the very sheet."""
    if not can_print():
        return
    draft = begin_programme(episode=episode, by=episode.therapist)
    issue_programme(programme=draft, revision=draft.revision, by=episode.therapist)

"""Reads about letters. Nobody without the permit sees any."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import QuerySet

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.clients.selectors import current_phase
from clinic.common.vocabulary import Phase
from clinic.letters.kinds import LetterKind
from clinic.letters.models import ProgressLetter
from measurements.models import LimbFindings


def letters_for(user: User) -> QuerySet[ProgressLetter]:
    """The letters this person may see, without their bytes; people and client joined."""
    if not permits.may(user, "letters.see"):
        return ProgressLetter.objects.none()
    joined = ProgressLetter.objects.select_related(
        "episode__client", "episode__therapist", "referrer", "compiled_by", "approved_by"
    )
    return joined.defer("pdf")


def letters_of(episode: Episode, user: User) -> QuerySet[ProgressLetter]:
    """An episode's letters, latest first. One query."""
    return letters_for(user).filter(episode=episode)


def draft_of(episode: Episode, kind: LetterKind) -> ProgressLetter | None:
    """The episode's one draft of a kind, if there is one. One query."""
    drafts = ProgressLetter.objects.filter(episode=episode, approved_at=None, kind=kind)
    return drafts.first()


@dataclass(frozen=True)
class Offer:
    """A kind of paper to write, or its draft to go on with."""

    kind: LetterKind
    draft: ProgressLetter | None


def offers(letters: Iterable[ProgressLetter]) -> tuple[Offer, ...]:
    """Every kind, with its draft among an episode's letters."""
    drafts = {letter.kind_word: letter for letter in letters if not letter.is_approved}
    return tuple(Offer(kind, drafts.get(kind)) for kind in LetterKind)


def last_approved(episode: Episode, kind: LetterKind) -> ProgressLetter | None:
    """The last one of a kind that was sent, without its bytes. One query."""
    sent = ProgressLetter.objects.filter(episode=episode, approved_at__isnull=False, kind=kind)
    return sent.defer("pdf").order_by("-period_to", "-approved_at").first()


def stored_pdf(letter: ProgressLetter) -> bytes:
    """The very bytes that were approved. One query."""
    return bytes(ProgressLetter.objects.values_list("pdf", flat=True).get(pk=letter.pk) or b"")


def stage_findings(episode: Episode, until_on: date) -> list[LimbFindings]:
    """Findings up to a day, oldest first, region joined. One query."""
    found = LimbFindings.objects.filter(region__episode=episode, found_on__lte=until_on)
    return list(found.select_related("region").order_by("region_id", "found_on", "recorded_at"))


def first_period(episode: Episode, kind: LetterKind, today: date) -> tuple[date, date]:
    """The period to offer. At most two queries.

    A letter runs from the last one, a report from the day after the last; a discharge summary
    over the whole episode, to the day of discharge where it is known.
    """
    if kind is LetterKind.DISCHARGE:
        phase = current_phase(episode)
        is_over = phase.phase == Phase.DISCHARGED and phase.since_on <= today
        return episode.opened_on, phase.since_on if is_over else today
    before = last_approved(episode, kind)
    if before is None:
        return episode.opened_on, today
    gap = timedelta(days=1 if kind is LetterKind.REPORT else 0)
    return min(before.period_to + gap, today), today

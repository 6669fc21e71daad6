"""Reads about letters. Nobody without the permit sees any."""

from datetime import date

from django.db.models import QuerySet

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Episode
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


def draft_of(episode: Episode) -> ProgressLetter | None:
    """The episode's one draft, if there is one. One query."""
    return ProgressLetter.objects.filter(episode=episode, approved_at=None).first()


def last_approved(episode: Episode) -> ProgressLetter | None:
    """The letter sent last, without its bytes. One query."""
    sent = ProgressLetter.objects.filter(episode=episode, approved_at__isnull=False)
    return sent.defer("pdf").order_by("-period_to", "-approved_at").first()


def stored_pdf(letter: ProgressLetter) -> bytes:
    """The very bytes that were approved. One query."""
    return bytes(ProgressLetter.objects.values_list("pdf", flat=True).get(pk=letter.pk) or b"")


def stage_findings(episode: Episode, until_on: date) -> list[LimbFindings]:
    """Findings up to a day, oldest first, region joined. One query."""
    found = LimbFindings.objects.filter(region__episode=episode, found_on__lte=until_on)
    return list(found.select_related("region").order_by("region_id", "found_on", "recorded_at"))


def first_period(episode: Episode, today: date) -> tuple[date, date]:
    """From the last letter, or the opening of the episode, to today. One query."""
    before = last_approved(episode)
    return (before.period_to if before else episode.opened_on), today

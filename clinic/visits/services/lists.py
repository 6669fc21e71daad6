"""Writes about the clinic's services, phrases and rules for charting."""

from django.db import IntegrityError, transaction

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.visits.errors import PhraseNameTaken, ServiceCodeTaken
from clinic.visits.lists import ChartingRules, Phrase, Service
from clinic.visits.phrases import check


@transaction.atomic
def keep_service(*, service: Service, by: User) -> Service:
    """Add a service or change one. Signed notes keep the name and units they were signed with.

    Raises ServiceCodeTaken.
    """
    try:
        with transaction.atomic():
            service.save()
    except IntegrityError as error:
        raise ServiceCodeTaken from error
    audit.record(by, "service.kept", subject=service)
    return service


@transaction.atomic
def keep_phrase(*, phrase: Phrase, by: User) -> Phrase:
    """Add a phrase or change one. Raises UnknownPlaceholder, BraceAlone, PhraseNameTaken."""
    check(phrase.text)
    try:
        with transaction.atomic():
            phrase.save()
    except IntegrityError as error:
        raise PhraseNameTaken from error
    audit.record(by, "phrase.kept", subject=phrase)
    return phrase


@transaction.atomic
def remove_phrase(*, phrase: Phrase, by: User) -> None:
    """Take a phrase off the list. Notes keep the words that were put in."""
    audit.record(by, "phrase.kept", subject=phrase)
    phrase.delete()


@transaction.atomic
def keep_rules(*, rules: ChartingRules, by: User) -> ChartingRules:
    """Keep the clinic's rules; signed notes and plans stay as they are."""
    rules.pk = 1
    rules.save()
    audit.record(by, "charting_rules.kept", subject=rules)
    return rules

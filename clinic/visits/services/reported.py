"""Writes about progress reports, for the app that compiles them."""

from datetime import date

from django.db import transaction

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.visits.reported import ProgressReported


@transaction.atomic
def note_report(*, episode: Episode, until_on: date, by: User) -> ProgressReported:
    """Count the treatment days up to a day as reported: the next report is counted from there.

    Part of approving a report, whose own entry in the record stands for both.
    """
    return ProgressReported.objects.create(episode=episode, until_on=until_on, noted_by=by)

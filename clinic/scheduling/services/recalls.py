"""Put a recall off, and say how often an episode is measured again. Recalls themselves are
computed, never written."""

from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client, Episode
from clinic.scheduling.desk_errors import SnoozedIntoThePast
from clinic.scheduling.models import RecallSchedule, RecallSnooze
from clinic.scheduling.words import RecallReason


@transaction.atomic
def snooze_recall(
    *, client: Client, recall: RecallReason, until_on: date, reason: str, by: User
) -> RecallSnooze:
    """Leave a recall out of the list until a day, for a reason. Raises SnoozedIntoThePast."""
    if until_on <= timezone.localdate():
        raise SnoozedIntoThePast
    kept = RecallSnooze.objects.create(
        client=client, recall=recall, until_on=until_on, reason=reason, by=by
    )
    audit.record(by, "recall.snoozed", client=client, subject=kept)
    return kept


@transaction.atomic
def end_snooze(*, client: Client, recall: RecallReason, by: User) -> None:
    """Put a recall back on the list: a snooze that ends today, so that the history stays."""
    kept = RecallSnooze.objects.create(
        client=client,
        recall=recall,
        until_on=timezone.localdate(),
        reason="put back on the list",
        by=by,
    )
    audit.record(by, "recall.unsnoozed", client=client, subject=kept)


@transaction.atomic
def set_recall_schedule(*, episode: Episode, every_months: int | None, by: User) -> None:
    """Months between re-measurements of an episode; None: the usual for its phase."""
    if every_months is None:
        RecallSchedule.objects.filter(episode=episode).delete()
    else:
        RecallSchedule.objects.update_or_create(
            episode=episode, defaults={"every_months": every_months, "by": by}
        )
    audit.record(by, "recall.scheduled", client=episode.client, subject=episode)

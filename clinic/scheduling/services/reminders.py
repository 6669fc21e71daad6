"""Keep how a client agreed to be reminded, and send reminders by e-mail.

A message holds first name, day, time and the practice's phone: no diagnosis, no kind of visit.
"""

from collections.abc import Iterable
from datetime import datetime

from django.core.mail import EmailMessage, get_connection
from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import Practice, User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.scheduling.desk_errors import ConsentStands, NoMailServer
from clinic.scheduling.models import Appointment, ReminderConsent
from clinic.scheduling.selectors.reminders import SENT, ReminderLine, mail_is_set_up
from clinic.scheduling.words import ReminderChannel


@transaction.atomic
def agree_to_reminders(*, client: Client, channel: ReminderChannel, by: User) -> ReminderConsent:
    """Keep that the client agreed today. Raises ConsentStands."""
    Client.objects.select_for_update(no_key=True).get(pk=client.pk)
    if client.reminder_consents.filter(channel=channel, withdrawn_on=None).exists():
        raise ConsentStands
    kept = ReminderConsent.objects.create(
        client=client, channel=channel, agreed_on=timezone.localdate(), by=by
    )
    audit.record(by, "reminder.agreed", client=client, subject=kept)
    return kept


@transaction.atomic
def withdraw_reminders(*, consent: ReminderConsent, by: User) -> None:
    """Keep that the client no longer agrees. Nothing happens if that was kept before."""
    standing = ReminderConsent.objects.filter(pk=consent.pk, withdrawn_on=None)
    if standing.update(withdrawn_on=timezone.localdate()):
        audit.record(by, "reminder.withdrawn", client=consent.client, subject=consent)


@transaction.atomic
def note_list_taken_out(*, lines: Iterable[ReminderLine], by: User) -> None:
    """Record, client by client, that names, phones and addresses left as a file."""
    clients = dict.fromkeys(line.client_id for line in lines)
    audit.record_for_each(by, "reminders.taken_out", clients=clients)


def send_reminders(*, lines: Iterable[ReminderLine], by: User) -> int:
    """Send an e-mail to each who agreed to it and was not sent one; how many went out.

    Raises NoMailServer. Each one sent is kept by itself, so that a fault of the mail server in the
    middle neither forgets nor repeats those that went out.
    """
    if not mail_is_set_up():
        raise NoMailServer
    practice, sent = Practice.objects.first() or Practice(), 0
    with get_connection() as connection:
        for line in lines:
            if line.may_be_mailed:
                message = _message(line, practice)
                message.connection = connection
                message.send()
                _keep_sent(line, by=by)
                sent += 1
    return sent


@transaction.atomic
def _keep_sent(line: ReminderLine, *, by: User) -> None:
    appointment = Appointment.objects.select_related("client").get(pk=line.appointment_id)
    audit.record(by, SENT, client=appointment.client, subject=appointment)


def _message(line: ReminderLine, practice: Practice) -> EmailMessage:
    call = f"If you cannot come, please call {practice.phone}.\n" if practice.phone else ""
    return EmailMessage(
        subject=f"Your appointment on {_day(line.starts_at)}",
        body=(
            f"Dear {line.given_name},\n\n"
            f"we expect you on {_day(line.starts_at)} at {line.starts_at:%H:%M}.\n{call}\n"
            f"{practice.name}\n"
        ),
        to=[line.email],
        reply_to=[practice.email] if practice.email else None,
    )


def _day(at: datetime) -> str:
    return f"{at:%A}, {at.day} {at:%B %Y}"

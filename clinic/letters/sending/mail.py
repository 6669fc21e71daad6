"""Letters by e-mail: locked PDFs, sent one by one by the worker, each tried at most once.

Before a message is handed over, "tried" is committed; after it, the outcome. Whatever stops the
program in between leaves a row that says "may have been sent: check", and is never sent again by
itself. While one is handed over its row is held: nobody settles it in that moment.
"""

from contextlib import suppress
from datetime import datetime, timedelta
from io import BytesIO
from smtplib import SMTPDataError, SMTPException, SMTPRecipientsRefused, SMTPSenderRefused
from time import monotonic
from typing import Any
from uuid import UUID

from django.core.mail import EmailMessage, get_connection
from django.db import transaction
from django.utils import timezone
from procrastinate.contrib.django import app as jobs
from pypdf import PdfReader, PdfWriter

from clinic.accounts.models import Practice, User
from clinic.audit import services as audit
from clinic.clients.models import Delivery
from clinic.letters.runs.services import QUEUE
from clinic.letters.sending import errors
from clinic.letters.sending.file_names import file_name, reference
from clinic.letters.sending.models import STANDING, Batch, Sending
from clinic.letters.sending.passphrases import opened
from clinic.letters.sending.selectors import (
    MAIL_TASK,
    agreement_with,
    bytes_of_letters,
    letter_of,
    mails_waiting,
)
from clinic.letters.sending.services import put_back
from clinic.letters.sending.ways import Failure, State
from clinic.scheduling.selectors.reminders import mail_is_set_up

# One job works this long, then asks for the next: a worker told to stop ends between two letters.
SECONDS_AT_A_TIME = 8.0
# Later than this a person asks anew: a backup restored with a job in it must not send by itself
# what went out after it was made.
STALE_AFTER = timedelta(hours=2)
# Before letters that wait to be compiled: somebody watches.
MAIL_PRIORITY = 10
ENCRYPTION = "AES-256"
WISH_CHANGED = "The way or address asked for, or the client's consent, changed meanwhile."


@transaction.atomic
def ask_for_mails(*, batch: Batch, by: User) -> None:
    """Let the worker send the batch's waiting e-mails. Raises MailCannotGo, NotConfirmed."""
    if not mail_is_set_up():
        raise errors.MailCannotGo
    if not mails_waiting(batch, by):
        raise errors.NotConfirmed
    _put_on_queue(batch, by)
    audit.record(by, "letter_batch.mailing_asked", subject=batch)


def _put_on_queue(batch: Batch, by: User) -> None:
    """A second job beside the first does no harm: each letter is claimed by one."""
    task = jobs.configure_task(MAIL_TASK, queue=QUEUE, priority=MAIL_PRIORITY, allow_unknown=False)
    task.defer(batch_id=str(batch.pk), by_id=by.pk, asked_at=timezone.now().isoformat())


def mail_batch(
    *, batch_id: UUID, by_id: int, asked_at: datetime, seconds: float = SECONDS_AT_A_TIME
) -> None:
    """What a job does: send for a while, then ask for another job.

    Raises MailStale, and as `send_mails`.
    """
    if timezone.now() - asked_at > STALE_AFTER:
        raise errors.MailStale
    batch, by = Batch.objects.get(pk=batch_id), User.objects.get(pk=by_id)
    send_mails(batch=batch, by=by, seconds=seconds)
    if mails_waiting(batch, by):
        _put_on_queue(batch, by)


def send_mails(*, batch: Batch, by: User, seconds: float = SECONDS_AT_A_TIME) -> int:
    """Send the batch's waiting e-mails as far as the time goes, one at least; how many went out.

    Raises MailCannotGo, MailSilent (nothing was handed over, all wait), MailBroken (it stopped at
    one that may have been sent; the others wait for a person).
    """
    if not mail_is_set_up():
        raise errors.MailCannotGo
    waiting, sent = mails_waiting(batch, by), 0
    if not waiting:
        return 0
    with _connected() as connection:
        until = monotonic() + seconds
        for row in waiting:
            try:
                sent += _mail(row, connection, by)
            except (OSError, SMTPException) as error:
                raise errors.MailBroken from error
            if monotonic() > until:
                break
    return sent


class _connected:
    """An open line to the mail server. Raises MailSilent when there is none."""

    def __enter__(self) -> Any:
        self.connection = get_connection()
        try:
            self.connection.open()
        except (OSError, SMTPException) as error:
            raise errors.MailSilent from error
        return self.connection

    def __exit__(self, *raised: object) -> None:
        try:
            self.connection.close()
        except (OSError, SMTPException):
            return  # what was handed over was answered already


def _mail(row: Sending, connection: Any, by: User) -> bool:
    """Try one; whether it went out. Whatever it raises leaves the row "may have been sent"."""
    if not _is_still_wanted(row):
        with suppress(errors.NotConfirmed, errors.TooLate):  # somebody else was faster
            put_back(batch=row.batch, sending_ids={row.pk}, reason=WISH_CHANGED, by=by)
        return False
    message = _message(row)
    if message is None:
        _fail(row, Failure.NO_PASSPHRASE, by)
        return False
    message.connection = connection
    return _claim(row) and _handed_over(row, message, by)


def _is_still_wanted(row: Sending) -> bool:
    """Whether it would go to the same address today; a reason noted stands for the consent."""
    letter = letter_of(row)
    reader = letter.referrer
    wish = (reader.delivery, reader.email)
    return wish == (Delivery.EMAIL, row.reached_at) and (letter.client_agrees or bool(row.note))


@transaction.atomic
def _handed_over(row: Sending, message: EmailMessage, by: User) -> bool:
    """Hand it over with its row held, so that who settles it waits for the outcome."""
    if Sending.objects.select_for_update().get(pk=row.pk).state is not State.UNSURE:
        return False  # settled between the claim and the hold
    failure = _refusal(message)
    if failure:
        _fail(row, failure, by)
        return False
    _sent(row, by)
    return True


def _refusal(message: EmailMessage) -> Failure | None:
    """Hand the message over; why the server would not have it, None when it took it."""
    try:
        return None if message.send() else Failure.REFUSED
    except SMTPRecipientsRefused:
        return Failure.REFUSED_ADDRESS
    except (SMTPSenderRefused, SMTPDataError):
        return Failure.REFUSED


def _claim(row: Sending) -> bool:
    """Commit that this one is being tried; False when somebody else did or put it back."""
    waiting = Sending.objects.filter(STANDING, pk=row.pk, tried_at=None, sent_at=None)
    return bool(waiting.update(tried_at=timezone.now()))


@transaction.atomic
def _sent(row: Sending, by: User) -> None:
    Sending.objects.filter(pk=row.pk).update(sent_at=timezone.now(), sent_by=by)
    audit.record(by, "letter.mailed", client=row.letter.episode.client, subject=row)


@transaction.atomic
def _fail(row: Sending, failure: Failure, by: User) -> None:
    failed = Sending.objects.filter(STANDING, pk=row.pk, sent_at=None)
    if failed.update(failed_at=timezone.now(), failure=failure):
        audit.record(by, "letter.mail_failed", client=row.letter.episode.client, subject=row)


@transaction.atomic
def settle(*, sending: Sending, arrived: bool, by: User) -> None:
    """Keep what somebody found out about an e-mail that may have been sent. Raises NotConfirmed."""
    held = Sending.objects.select_for_update().get(pk=sending.pk)
    if held.state is not State.UNSURE:
        raise errors.NotConfirmed
    if arrived:
        _sent(sending, by)
    else:
        _fail(sending, Failure.NOT_ARRIVED, by)


def _message(row: Sending) -> EmailMessage | None:
    """Neutral words and a locked PDF: no client's name, nothing clinical. None: no passphrase."""
    agreement = agreement_with(row.referrer)
    passphrase = opened(agreement.sealed_passphrase) if agreement else None
    if not passphrase:
        return None
    practice = Practice.objects.first() or Practice()
    message = EmailMessage(
        subject=f"A letter for you, reference {reference(row.letter_id)}",
        body=_body(row, practice),
        to=[row.reached_at],
        reply_to=[practice.email] if practice.email else None,
    )
    locked_bytes = locked(bytes_of_letters([row])[row.letter_id], passphrase)
    named = file_name(row.letter_id, timezone.localdate(row.letter.approved_at))
    message.attach(named, locked_bytes, "application/pdf")
    return message


def _body(row: Sending, practice: Practice) -> str:
    call = f" and phone {practice.phone}" if practice.phone else " and tell us"
    return (
        f"To {row.addressee_name}\n\n"
        "A letter is attached, locked with the passphrase agreed with you. The passphrase is never"
        " sent by e-mail.\n\n"
        "This message is for the person named above. If it reached you by mistake, please delete"
        f" it{call}.\n"
    )


def locked(pdf: bytes, passphrase: str) -> bytes:
    """The letter, page for page, encrypted with AES-256; the text stays readable aloud."""
    writer = PdfWriter(clone_from=PdfReader(BytesIO(pdf)))
    writer.encrypt(passphrase, algorithm=ENCRYPTION)
    written = BytesIO()
    writer.write(written)
    return written.getvalue()

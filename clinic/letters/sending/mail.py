"""Letters by e-mail: locked PDFs, sent one by one, each tried at most once.

Before a message is handed over, "tried" is committed; after it, the outcome. Whatever stops the
program in between leaves a row that says "may have been sent: check", and is never sent again by
itself.
"""

from io import BytesIO
from smtplib import SMTPDataError, SMTPException, SMTPRecipientsRefused, SMTPSenderRefused
from time import monotonic
from typing import Any

from django.core.mail import EmailMessage, get_connection
from django.db import transaction
from django.utils import timezone
from pypdf import PdfReader, PdfWriter

from clinic.accounts.models import Practice, User
from clinic.audit import services as audit
from clinic.letters.sending import errors
from clinic.letters.sending.file_names import file_name, reference
from clinic.letters.sending.models import STANDING, Batch, Sending
from clinic.letters.sending.passphrases import opened
from clinic.letters.sending.selectors import agreement_with, bytes_of_letters, sendings_of
from clinic.letters.sending.ways import Failure, State, Way
from clinic.scheduling.selectors.reminders import mail_is_set_up

# One request works this long, then says how far it came: well below what a web server allows one.
SECONDS_AT_A_TIME = 8.0
ENCRYPTION = "AES-256"


def send_mails(*, batch: Batch, by: User, seconds: float = SECONDS_AT_A_TIME) -> int:
    """Send the batch's waiting e-mails as far as the time goes; how many went out.

    Raises MailCannotGo, MailSilent (nothing was handed over, all wait).
    """
    if not mail_is_set_up():
        raise errors.MailCannotGo
    waiting = [row for row in sendings_of(batch, by) if row.state is State.WAITING]
    waiting = [row for row in waiting if row.way_word is Way.EMAIL]
    until, sent = monotonic() + seconds, 0
    with _connected() as connection:
        for row in waiting:
            if monotonic() > until:
                break
            try:
                sent += _mail(row, connection, by)
            except (OSError, SMTPException):
                break  # nobody knows about this one; the line to the server is broken
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
    """Try one; whether it went out. Whatever else it raises leaves the row "may have been sent"."""
    message = _message(row)
    if message is None:
        _fail(row, Failure.NO_PASSPHRASE, by)
        return False
    if not _claim(row):
        return False
    message.connection = connection
    try:
        handed_over = message.send()
    except (SMTPRecipientsRefused, SMTPSenderRefused):
        _fail(row, Failure.REFUSED_ADDRESS, by)
        return False
    except SMTPDataError:
        _fail(row, Failure.REFUSED, by)
        return False
    if not handed_over:
        _fail(row, Failure.REFUSED, by)
        return False
    _sent(row, by)
    return True


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

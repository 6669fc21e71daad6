"""Letters by e-mail: locked, neutral, and never sent twice, whatever stops the program."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from io import BytesIO
from smtplib import (
    SMTPDataError,
    SMTPRecipientsRefused,
    SMTPSenderRefused,
    SMTPServerDisconnected,
)
from typing import Any

import pytest
from django.core import mail as outbox_of
from django.core.mail import EmailMessage
from django.core.mail.backends.locmem import EmailBackend
from django.db import OperationalError, connection, transaction
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateJob
from procrastinate.jobs import Job
from pypdf import PdfReader

from clinic.clients.models import Referrer
from clinic.demo.clock import clock_at
from clinic.letters.models import ProgressLetter
from clinic.letters.runs.services import QUEUE
from clinic.letters.sending import errors, mail, passphrases
from clinic.letters.sending.agreements import agree_to_mail, end_mail
from clinic.letters.sending.mail import ask_for_mails, send_mails, settle
from clinic.letters.sending.models import Batch, MailAgreement, Sending
from clinic.letters.sending.selectors import MAIL_TASK, Wanted, letters_to_send
from clinic.letters.sending.services import put_back
from clinic.letters.sending.ways import Failure, Output, State
from clinic.letters.tasks import mail_letters
from tests.builders import make_referrer, today
from tests.cast import Cast
from tests.clinic.letters.sending.approved import SAID, batch_of, letter_on
from tests.clinic.letters.stories import make_practice

WORDS = "slow otters cross at dusk"


@pytest.fixture(autouse=True)
def _mail_server(settings: Any) -> None:
    settings.EMAIL_HOST = "mail.example"


@pytest.fixture
def referrer(cast: Cast) -> Referrer:
    found = make_referrer(delivery="email", email="o.farrow@mail.example")
    agree_to_mail(referrer=found, passphrase=WORDS, agreed_on=today(), by=cast.front_desk)
    return found


@pytest.fixture
def letters(cast: Cast, referrer: Referrer) -> list[ProgressLetter]:
    make_practice()
    return [letter_on(name, referrer, cast.therapist) for name in ("Bly", "Crewe", "Dunn")]


@pytest.fixture
def batch(cast: Cast, letters: list[ProgressLetter]) -> Batch:
    return batch_of(*letters, by=cast.front_desk, output=Output.MAIL)


def states(batch: Batch) -> list[State]:
    return [row.state for row in batch.sendings.order_by("place")]


def break_sending(
    monkeypatch: pytest.MonkeyPatch, at: int, error: BaseException, *, after: bool = False
) -> None:
    """Make the message with this number fail: before or after the server took it."""
    taken = EmailBackend.send_messages
    count = iter(range(1, 100))

    def send(self: EmailBackend, messages: list[EmailMessage]) -> int:
        is_this = next(count) == at
        if is_this and not after:
            raise error
        sent: int = taken(self, messages)
        if is_this:
            raise error
        return sent

    monkeypatch.setattr(EmailBackend, "send_messages", send)


def test_each_letter_goes_once_and_a_repeat_sends_nothing(cast: Cast, batch: Batch) -> None:
    assert send_mails(batch=batch, by=cast.front_desk) == 3
    assert send_mails(batch=batch, by=cast.front_desk) == 0
    assert len(outbox_of.outbox) == 3
    assert states(batch) == [State.SENT] * 3


def test_a_message_says_nothing_of_the_client(cast: Cast, batch: Batch) -> None:
    send_mails(batch=batch, by=cast.front_desk)
    message = outbox_of.outbox[0]
    named, content, kind = message.attachments[0]
    said = f"{message.subject} {message.body} {named} {message.extra_headers}".lower()
    hidden = (
        "bly",
        "marguerite",
        "lymphedema",
        "swollen",
        "oncology",
        "client",
        "patient",
        "t0000",
    )
    assert not [word for word in hidden if word in said]
    assert message.to == ["o.farrow@mail.example"]
    assert kind == "application/pdf"
    assert SAID.encode() not in content


def test_the_letter_opens_with_the_agreed_passphrase_only(cast: Cast, batch: Batch) -> None:
    """AES-256 by the standard's revision 6: ISO 32000-2, 7.6.4; from memory, not re-read."""
    send_mails(batch=batch, by=cast.front_desk)
    reader = PdfReader(BytesIO(outbox_of.outbox[0].attachments[0][1]))
    locked = reader.trailer["/Encrypt"]
    assert (locked["/V"], locked["/R"], locked["/CF"]["/StdCF"]["/CFM"]) == (5, 6, "/AESV3")
    assert not reader.decrypt("")
    assert not reader.decrypt(WORDS.upper())
    assert reader.decrypt(WORDS)
    assert SAID in reader.pages[0].extract_text()


class Killed(BaseException):
    """The process ends here."""


@pytest.mark.parametrize("after", [False, True])
def test_a_crash_while_sending_never_sends_twice(
    cast: Cast, batch: Batch, monkeypatch: pytest.MonkeyPatch, after: bool
) -> None:
    break_sending(monkeypatch, 2, Killed(), after=after)
    with pytest.raises(Killed):
        send_mails(batch=batch, by=cast.front_desk)
    assert states(batch) == [State.SENT, State.UNSURE, State.WAITING]
    send_mails(batch=batch, by=cast.front_desk)
    assert states(batch) == [State.SENT, State.UNSURE, State.SENT]
    references = [message.subject for message in outbox_of.outbox]
    assert len(references) == len(set(references)) == (3 if after else 2)


def test_what_may_have_been_sent_is_settled_by_a_person(
    cast: Cast, batch: Batch, monkeypatch: pytest.MonkeyPatch
) -> None:
    break_sending(monkeypatch, 1, SMTPServerDisconnected("gone"), after=True)
    with pytest.raises(errors.MailBroken):
        send_mails(batch=batch, by=cast.front_desk)
    assert states(batch) == [State.UNSURE, State.WAITING, State.WAITING]
    unsure = batch.sendings.get(place=1)
    assert unsure.state is State.UNSURE
    with pytest.raises(errors.TooLate):
        put_back(batch=batch, sending_ids={unsure.pk}, reason="again", by=cast.front_desk)
    settle(sending=unsure, arrived=False, by=cast.front_desk)
    unsure.refresh_from_db()
    assert (unsure.state, unsure.failure) == (State.FAILED, Failure.NOT_ARRIVED)
    with pytest.raises(errors.NotConfirmed):
        settle(sending=unsure, arrived=True, by=cast.front_desk)
    anew = batch_of(unsure.letter, by=cast.front_desk, output=Output.MAIL)
    assert states(anew) == [State.WAITING]


@pytest.mark.parametrize(
    ("error", "failure"),
    [
        (SMTPRecipientsRefused({"o.farrow@mail.example": (550, b"no")}), Failure.REFUSED_ADDRESS),
        (SMTPDataError(554, b"no"), Failure.REFUSED),
        (SMTPSenderRefused(550, b"no", "desk@mail.example"), Failure.REFUSED),
    ],
)
def test_a_refusal_is_told_for_its_letter_and_the_others_go(
    cast: Cast, batch: Batch, monkeypatch: pytest.MonkeyPatch, error: OSError, failure: Failure
) -> None:
    break_sending(monkeypatch, 1, error)
    assert send_mails(batch=batch, by=cast.front_desk) == 2
    assert states(batch) == [State.FAILED, State.SENT, State.SENT]
    assert batch.sendings.get(place=1).failure == failure


def test_a_silent_server_leaves_everything_waiting(
    cast: Cast, batch: Batch, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: EmailBackend) -> None:
        raise ConnectionRefusedError

    monkeypatch.setattr(EmailBackend, "open", refuse)
    with pytest.raises(errors.MailSilent):
        send_mails(batch=batch, by=cast.front_desk)
    assert states(batch) == [State.WAITING] * 3


def test_without_a_mail_server_nothing_can_be_mailed(
    cast: Cast, batch: Batch, letters: list[ProgressLetter], settings: Any
) -> None:
    settings.EMAIL_HOST = ""
    with pytest.raises(errors.MailCannotGo):
        send_mails(batch=batch, by=cast.front_desk)


def test_work_stops_in_time_and_goes_on_where_it_was(cast: Cast, batch: Batch) -> None:
    assert send_mails(batch=batch, by=cast.front_desk, seconds=-1) == 1
    assert states(batch) == [State.SENT, State.WAITING, State.WAITING]
    assert send_mails(batch=batch, by=cast.front_desk) == 2


@pytest.mark.parametrize(
    "change",
    [
        {"delivery": "post"},
        {"email": "other@mail.example"},
        {"email": "", "delivery": "fax"},
    ],
)
def test_a_wish_that_changed_since_puts_the_letter_back(
    cast: Cast, batch: Batch, referrer: Referrer, change: dict[str, str]
) -> None:
    Referrer.objects.filter(pk=referrer.pk).update(**change)
    assert send_mails(batch=batch, by=cast.front_desk) == 0
    assert states(batch) == [State.PUT_BACK] * 3
    assert not outbox_of.outbox
    assert len(letters_to_send(cast.front_desk, Wanted()).letters) == 3


def test_a_client_who_declines_meanwhile_is_not_written_about_without_a_reason(
    cast: Cast, letters: list[ProgressLetter]
) -> None:
    declining = letters[0].episode.client
    kept = batch_of(letters[1], by=cast.front_desk, output=Output.MAIL)
    batch = batch_of(letters[0], by=cast.front_desk, output=Output.MAIL)
    declining.agrees_to_letters = False
    declining.save()
    assert send_mails(batch=batch, by=cast.front_desk) == 0
    assert states(batch) == [State.PUT_BACK]
    told = {letters[0].pk: "asked for by phone"}
    again = batch_of(letters[0], by=cast.front_desk, output=Output.MAIL, reasons=told)
    assert send_mails(batch=again, by=cast.front_desk) == 1
    assert states(kept) == [State.WAITING]


def settled_by_somebody_else(row: Sending) -> bool:
    """Whether another connection gets at the row now; it gives up at once when it may not."""

    def try_it() -> bool:
        try:
            with transaction.atomic():
                Sending.objects.select_for_update(nowait=True).get(pk=row.pk)
            return True
        except OperationalError:
            return False
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as other:
        return other.submit(try_it).result()


@pytest.mark.django_db(transaction=True)
def test_nobody_settles_a_letter_while_it_is_handed_over(
    cast: Cast, batch: Batch, monkeypatch: pytest.MonkeyPatch
) -> None:
    row, seen = batch.sendings.get(place=1), []
    taken = EmailBackend.send_messages

    def send(self: EmailBackend, messages: list[EmailMessage]) -> int:
        seen.append((Sending.objects.get(pk=row.pk).state, settled_by_somebody_else(row)))
        return int(taken(self, messages))

    monkeypatch.setattr(EmailBackend, "send_messages", send)
    send_mails(batch=batch, by=cast.front_desk, seconds=-1)
    assert seen == [(State.UNSURE, False)]
    assert settled_by_somebody_else(row)


def test_what_was_settled_between_claim_and_hold_is_not_handed_over(
    cast: Cast, batch: Batch, monkeypatch: pytest.MonkeyPatch
) -> None:
    claim = mail._claim

    def claimed_and_settled(row: Sending) -> bool:
        claim(row)
        settle(sending=row, arrived=False, by=cast.lead)
        return True

    monkeypatch.setattr(mail, "_claim", claimed_and_settled)
    assert send_mails(batch=batch, by=cast.front_desk) == 0
    assert states(batch) == [State.FAILED] * 3
    assert not outbox_of.outbox


# The worker


def job_of(batch: Batch) -> ProcrastinateJob:
    return ProcrastinateJob.objects.get(task_name=MAIL_TASK, args__batch_id=str(batch.pk))


def test_a_job_carries_row_numbers_only_and_asks_for_the_next(cast: Cast, batch: Batch) -> None:
    ask_for_mails(batch=batch, by=cast.front_desk)
    args, ids = job_of(batch).args, {"by_id": cast.front_desk.pk}
    asked_at = datetime.fromisoformat(args["asked_at"])
    assert args == ids | {"batch_id": str(batch.pk), "asked_at": args["asked_at"]}
    mail.mail_batch(batch_id=batch.pk, asked_at=asked_at, seconds=-1, **ids)
    assert states(batch) == [State.SENT, State.WAITING, State.WAITING]
    assert ProcrastinateJob.objects.filter(task_name=MAIL_TASK).count() == 2
    mail_letters(**args)  # a second job, or the same once more after a restart
    mail_letters(**args)
    assert states(batch) == [State.SENT] * 3
    assert len(outbox_of.outbox) == 3
    assert ProcrastinateJob.objects.filter(task_name=MAIL_TASK).count() == 2
    assert {row.sent_by for row in batch.sendings.all()} == {cast.front_desk}
    with pytest.raises(errors.NotConfirmed):
        ask_for_mails(batch=batch, by=cast.front_desk)


def test_a_job_of_hours_ago_sends_nothing_by_itself(cast: Cast, batch: Batch) -> None:
    """It may come out of a backup, restored after its letters had gone."""
    ask_for_mails(batch=batch, by=cast.front_desk)
    args = job_of(batch).args
    with clock_at(timezone.now() + timedelta(hours=3)), pytest.raises(errors.MailStale):
        mail_letters(**args)
    assert states(batch) == [State.WAITING] * 3


def test_a_silent_server_is_tried_again_and_a_broken_line_is_not() -> None:
    """Nobody knows of a letter over which the line broke: a person looks before the next goes."""
    job = Job(id=1, queue=QUEUE, lock=None, queueing_lock=None, task_name=MAIL_TASK, attempts=0)
    again = mail_letters.retry_strategy.get_retry_decision
    assert again(exception=errors.MailSilent(), job=job)
    assert not again(exception=errors.MailBroken(), job=job)
    assert not again(exception=errors.MailSilent(), job=job.evolve(attempts=4))


def test_a_passphrase_is_sealed_and_wiped_when_the_agreement_ends(
    cast: Cast, referrer: Referrer, batch: Batch, settings: Any
) -> None:
    kept = MailAgreement.objects.get()
    assert WORDS not in kept.sealed_passphrase
    assert passphrases.opened(kept.sealed_passphrase) == WORDS
    settings.SECRET_KEY = "another secret key of the server"
    assert passphrases.opened(kept.sealed_passphrase) is None
    end_mail(referrer=referrer, by=cast.front_desk)
    assert MailAgreement.objects.get().sealed_passphrase == ""
    assert send_mails(batch=batch, by=cast.front_desk) == 0
    assert {row.failure for row in Sending.objects.all()} == {Failure.NO_PASSPHRASE}
    assert not outbox_of.outbox


def test_only_who_asked_for_it_and_agreed_is_mailed(cast: Cast) -> None:
    by_post: Callable[..., Referrer] = make_referrer
    referrer = by_post(email="o.farrow@mail.example")  # agreed, but wants letters by post
    agree_to_mail(referrer=referrer, passphrase=WORDS, agreed_on=today(), by=cast.front_desk)
    letter = letter_on("Bly", referrer, cast.therapist)
    with pytest.raises(errors.CannotGo):
        batch_of(letter, by=cast.front_desk, output=Output.MAIL)

"""The pages that send letters: they work, keep what was typed, refuse, and say nothing clinical."""

import re
import zipfile
from datetime import UTC, datetime
from io import BytesIO
from typing import Any

import pytest
from django.core import mail as outbox_of
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse
from procrastinate.contrib.django.models import ProcrastinateJob

from clinic.accounts.models import PaperSize
from clinic.audit.models import Entry
from clinic.audit.selectors import history_of
from clinic.common.print import NotPrinted, PrintFault
from clinic.demo.clock import clock_at
from clinic.letters.models import ProgressLetter
from clinic.letters.sending import batch_pdf, errors
from clinic.letters.sending.agreements import agree_to_mail
from clinic.letters.sending.models import Batch, MailAgreement
from clinic.letters.sending.ways import Output, Way
from clinic.letters.tasks import mail_letters
from tests.builders import make_referrer, today
from tests.cast import Cast
from tests.clinic.letters.sending.approved import SAID, batch_of, letter_on
from tests.clinic.letters.stories import make_practice

LIST = "/letters/to-send/"
NOWHERE = "00000000-0000-4000-8000-000000000000"


@pytest.fixture
def letter(cast: Cast) -> ProgressLetter:
    make_practice(paper_size=PaperSize.LETTER)
    return letter_on("Bly", make_referrer(), cast.therapist)


def take(browser: Browser, *letters: ProgressLetter, **typed: Any) -> Any:
    told = {"part": "paper", "output": "print", "letters": [str(each.pk) for each in letters]}
    return browser.post(LIST, told | typed)


def run_job(batch: Batch, *, ends_as: str = "succeeded") -> None:
    """Do the batch's job as a worker does, the last time it tries."""
    job = ProcrastinateJob.objects.get(args__batch_id=str(batch.pk))
    with connection.cursor() as cursor:
        cursor.execute("UPDATE procrastinate_jobs SET status = 'doing' WHERE id = %s", [job.pk])
        cursor.execute("UPDATE procrastinate_jobs SET status = %s WHERE id = %s", [ends_as, job.pk])
    mail_letters(**job.args)


def words(answer: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_the_desk_prints_confirms_and_finds_it_in_the_log(
    desk: Browser, cast: Cast, letter: ProgressLetter
) -> None:
    listed = desk.get(LIST)
    assert "Bly, Marguerite" in words(listed)
    assert 'to Dr. Odile Farrow" checked' in listed.content.decode()
    page = take(desk, letter)
    batch = Batch.objects.get()
    assert page.url == reverse("letters-batch", args=[batch.pk])
    pdf = desk.get(reverse("letters-batch-pdf", args=[batch.pk]))
    assert pdf.content.startswith(b"%PDF")
    assert "Bly" not in pdf["Content-Disposition"]
    assert "no-store" in pdf["Cache-Control"]
    answer = desk.post(page.url, {"all": "yes"}, follow=True)
    assert "Nothing is left to do" in words(answer)
    log = desk.post(reverse("letters-sent"), {"words": "bly farrow"})
    assert "sent " in words(log)
    assert "Bly, Marguerite" in words(log)
    verbs = [entry.verb for entry in history_of(letter.episode.client)]
    assert verbs[:3] == ["letter.sent", "letter.batch_taken_out", "letter.put_in_batch"]


def test_no_page_for_the_desk_reads_or_says_what_a_letter_says(
    desk: Browser, cast: Cast, letter: ProgressLetter, django_assert_max_num_queries: Any
) -> None:
    batch = batch_of(letter, by=cast.front_desk)
    other = letter_on("Crewe", letter.referrer, cast.therapist, kind="discharge")
    addresses = [LIST, reverse("letters-sent"), reverse("letters-batch", args=[batch.pk])]
    for address in addresses:
        with django_assert_max_num_queries(20) as ran:
            said = words(desk.get(address)).lower()
        for hidden in (SAID.lower(), "discharge", "report", "/pdf/"):
            assert hidden not in said.replace("the pdf to print", ""), (address, hidden)
        selected = " ".join(query["sql"].split(" FROM ")[0] for query in ran.captured_queries)
        for column in ("bottom_line", "treatment", '"plan"', '"pdf"', "diagnosis", '"kind"'):
            assert column not in selected, (address, column)
    assert other.kind == "discharge"


def test_a_look_at_each_list_is_noted_once_and_neither_its_bar_nor_what_was_refused(
    desk: Browser, cast: Cast, letter: ProgressLetter
) -> None:
    batch = reverse("letters-batch", args=[batch_of(letter, by=cast.front_desk).pk])
    for address in (LIST, reverse("letters-sent"), batch):
        desk.get(address)
    desk.get(batch, headers={"HX-Request": "true"})
    assert desk.post(batch, {"put_back": "yes"}).status_code == 200
    assert take(desk, output="pigeon").status_code == 200
    looks = Entry.objects.filter(by=cast.front_desk, verb__endswith=".seen")
    verbs = ("letters_to_send.seen", "sent_log.seen", "letter_batch.seen")
    noted = looks.order_by("pk").values_list("verb", "client")
    assert list(noted) == [(verb, None) for verb in verbs]


def test_what_was_typed_stays_when_something_is_missing(
    desk: Browser, cast: Cast, letter: ProgressLetter
) -> None:
    other = letter_on("Crewe", letter.referrer, cast.therapist)
    letter.referrer.street = "9 New Street"
    letter.referrer.save()
    field = f"decide_{other.pk.hex}"
    page = take(desk, letter, other, two_sided="on", **{field: "present"})
    assert page.status_code == 200
    assert "Choose which address this letter goes to" in words(page)
    html = " ".join(page.content.decode().split())
    assert '<option value="present" selected>' in html
    assert 'name="two_sided" checked' in html
    assert html.count('to Dr. Odile Farrow" checked') == 2
    assert not Batch.objects.exists()
    kept = {field: "present", f"decide_{letter.pk.hex}": "approved"}
    assert take(desk, letter, other, **kept).status_code == 302
    assert {row.needs_sheet for row in Batch.objects.get().sendings.all()} == {True, False}


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"letters": []}, "Nothing to send"),
        ({"letters": ["no-id"]}, "no-id"),
        ({"letters": [NOWHERE]}, "Nothing to send"),
        ({"output": "pigeon"}, "pigeon"),
        ({"output": "zip"}, "zip"),  # files are for clinical roles
        ({"output": "noted"}, "Say why"),
        ({"output": "noted", "note": "x" * 201}, "at most 200 characters"),
    ],
)
def test_bad_input_is_told_and_nothing_is_taken(
    desk: Browser, letter: ProgressLetter, typed: dict[str, Any], said: str
) -> None:
    page = take(desk, letter, **typed)
    assert page.status_code == 200
    assert said in words(page)
    assert not Batch.objects.exists()


def test_confirming_nothing_or_putting_back_without_reason_is_told(
    desk: Browser, cast: Cast, letter: ProgressLetter
) -> None:
    batch = batch_of(letter, by=cast.front_desk)
    address = reverse("letters-batch", args=[batch.pk])
    row = str(batch.sendings.get().pk)
    assert "tick letters" in words(desk.post(address, {"ticked": "yes"}))
    page = desk.post(address, {"put_back": "yes", "sendings": [row]})
    assert "Say why" in words(page)
    assert "checked" in page.content.decode()
    desk.post(address, {"put_back": "yes", "sendings": [row], "reason": "printer jam"})
    assert "printer jam" in words(desk.get(address))
    gone = desk.get(reverse("letters-batch-pdf", args=[batch.pk]), follow=True)
    assert "was put back" in words(gone)


def test_a_batch_that_cannot_be_printed_says_so_and_keeps_its_letters(
    desk: Browser, cast: Cast, letter: ProgressLetter, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = batch_of(letter, by=cast.front_desk)

    def fail(*args: Any) -> bytes:
        raise NotPrinted(PrintFault.FAILED)

    monkeypatch.setattr(batch_pdf, "pages_of", fail)
    page = desk.get(reverse("letters-batch-pdf", args=[batch.pk]), follow=True)
    assert "No PDF could be made" in words(page)
    assert batch.sendings.get().put_back_at is None


def test_a_therapist_saves_a_zip_and_the_desk_does_not(
    desk: Browser, therapist: Browser, letter: ProgressLetter
) -> None:
    page = take(therapist, letter, output="zip")
    batch = Batch.objects.get()
    assert page.url == reverse("letters-batch", args=[batch.pk])
    address = reverse("letters-batch-zip", args=[batch.pk])
    assert len(zipfile.ZipFile(BytesIO(therapist.get(address).content)).namelist()) == 2
    assert desk.get(address).status_code == 403
    assert therapist.get(reverse("letters-batch-pdf", args=[batch.pk])).status_code == 404


@pytest.mark.parametrize(
    ("name", "takes", "wrong"),
    [
        ("letters-to-send", 0, "put"),
        ("letters-batch", 1, "delete"),
        ("letters-batch-pdf", 1, "post"),
        ("letters-batch-mail", 1, "get"),
        ("letters-sent", 0, "put"),
        ("letters-sent-settle", 1, "get"),
        ("letters-sent-again", 1, "put"),
        ("mail-agreement", 1, "put"),
        ("mail-agreement-end", 1, "get"),
    ],
)
def test_wrong_methods_and_unknown_records(
    desk: Browser, name: str, takes: int, wrong: str
) -> None:
    address = reverse(name, args=[NOWHERE] * takes)
    assert getattr(desk, wrong)(address).status_code == 405
    right = "post" if wrong == "get" else "get"
    assert getattr(desk, right)(address).status_code == (404 if takes else 200)


def test_the_list_is_filtered_sorted_and_forgiving(
    desk: Browser, cast: Cast, letter: ProgressLetter
) -> None:
    fax = make_referrer(family_name="Aaron", delivery="fax", fax="555 0199")
    letter_on("Ames", fax, cast.therapist, period_from="2026-08-01", period_to="2026-08-31")
    poor = letter_on("Poor", make_referrer(delivery="fax"), cast.therapist)
    listed = desk.get(LIST).content.decode()
    assert "no fax number" in listed
    assert listed.count('" checked') == 2  # who lacks a number is not ticked beforehand
    assert str(poor.pk) in listed
    assert "Bly" not in words(desk.get(LIST, {"month": "2026-08"}))
    assert "Ames" not in words(desk.get(LIST, {"delivery": "post"}))
    text = words(desk.get(LIST, {"order": "client", "month": "rubbish", "delivery": "?"}))
    assert text.index("Ames") < text.index("Bly")


def test_a_letter_to_a_deactivated_referrer_is_ticked_by_a_person_only(
    desk: Browser, cast: Cast, letter: ProgressLetter
) -> None:
    letter.referrer.is_active = False
    letter.referrer.save()
    page = desk.get(LIST)
    assert "deactivated" in words(page)
    assert 'to Dr. Odile Farrow" checked' not in page.content.decode()
    assert take(desk, letter).status_code == 302


def test_a_batch_names_who_declined_since_until_it_went(
    desk: Browser, cast: Cast, letter: ProgressLetter
) -> None:
    batch = batch_of(letter, by=cast.front_desk)
    client = letter.episode.client
    client.agrees_to_letters = False
    client.save()
    address = reverse("letters-batch", args=[batch.pk])
    assert "client declines letters" in words(desk.get(address))
    desk.post(address, {"all": "yes"})
    assert "client declines letters" not in words(desk.get(address))


def test_a_file_of_an_evening_has_the_day_of_the_practice(
    desk: Browser, cast: Cast, letter: ProgressLetter, settings: Any
) -> None:
    """Half past nine in the evening in New York is the next day in UTC."""
    with clock_at(datetime(2026, 6, 4, 1, 30, tzinfo=UTC)):
        batch = batch_of(letter, by=cast.front_desk)
    pdf = desk.get(reverse("letters-batch-pdf", args=[batch.pk]))
    assert f"letters-2026-06-03-{batch.pk.hex[:8]}.pdf" in pdf["Content-Disposition"]


def test_the_log_is_filtered_and_links_the_bytes_for_clinical_roles_only(
    desk: Browser, therapist: Browser, cast: Cast, letter: ProgressLetter
) -> None:
    batch = batch_of(letter, by=cast.front_desk, output=Output.NOTED, note="ok", noted=Way.HAND)
    log = reverse("letters-sent")
    link = reverse("letter-pdf", args=[letter.pk])
    assert link in therapist.get(log).content.decode()
    assert link not in desk.get(log).content.decode()
    assert "No entry fits" in words(desk.post(log, {"way": "fax"}))
    assert "1 entry" in words(desk.post(log, {"month": f"{today():%Y-%m}", "way": "hand"}))
    assert "No entry fits" in words(desk.post(log, {"words": "nobody here"}))
    again = reverse("letters-sent-again", args=[batch.sendings.get().pk])
    assert "required" in words(desk.post(again, {"reason": ""}))
    assert desk.post(again, {"reason": "lost"}).status_code == 302


def test_mail_from_agreement_to_outcome(
    desk: Browser, cast: Cast, letter: ProgressLetter, settings: Any
) -> None:
    settings.EMAIL_HOST = "mail.example"
    referrer = letter.referrer
    referrer.delivery, referrer.email = "email", "o.farrow@mail.example"
    referrer.save()
    agreement = reverse("mail-agreement", args=[referrer.pk])
    typed = {"agreed_on": str(today()), "passphrase": "slow otters cross", "repeated": "other"}
    assert "not the same" in words(desk.post(agreement, typed))
    assert not MailAgreement.objects.exists()
    desk.post(agreement, typed | {"repeated": "slow otters cross"})
    assert "slow otters" not in desk.get(agreement).content.decode()
    assert "By secure e-mail" in words(desk.get(LIST))
    page = take(desk, letter, part="mail", output="mail")
    batch = Batch.objects.get()
    assert "Send 1 by e-mail now" in words(desk.get(page.url))
    asked = desk.post(reverse("letters-batch-mail", args=[batch.pk]), follow=True)
    assert "0 of 1 e-mails done" in words(asked)
    assert "Nothing is sent at present" in words(asked)  # no worker runs in this test
    assert "Send 1 by e-mail now" not in words(asked)
    moving = desk.get(page.url, headers={"HX-Request": "true"})
    assert "0 of 1 e-mails done" in words(moving)
    assert "<html" not in moving.content.decode()
    run_job(batch)
    assert len(outbox_of.outbox) == 1
    done = desk.get(page.url, headers={"HX-Request": "true"})
    assert done.headers["HX-Refresh"] == "true"
    assert "Nothing is left to do" in words(desk.get(page.url))
    settle = reverse("letters-sent-settle", args=[batch.sendings.get().pk])
    assert "Nothing changed" in words(desk.post(settle, {"arrived": "yes"}, follow=True))
    desk.post(reverse("mail-agreement-end", args=[referrer.pk]))
    assert MailAgreement.objects.get().ended_by == cast.front_desk


def test_a_short_passphrase_is_refused(desk: Browser, cast: Cast) -> None:
    address = reverse("mail-agreement", args=[make_referrer().pk])
    typed = {"agreed_on": "2999-01-01", "passphrase": "short", "repeated": "short"}
    said = words(desk.post(address, typed))
    assert "at least 12 characters" in said
    assert "still to come" in said


def test_a_broken_mail_server_is_told(
    desk: Browser, cast: Cast, letter: ProgressLetter, settings: Any
) -> None:
    settings.EMAIL_HOST = "mail.example"
    letter.referrer.delivery, letter.referrer.email = "email", "o.farrow@mail.example"
    letter.referrer.save()
    agree_to_mail(
        referrer=letter.referrer, passphrase="slow otters", agreed_on=today(), by=cast.front_desk
    )
    batch = batch_of(letter, by=cast.front_desk, output=Output.MAIL)
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9  # nobody listens there
    desk.post(reverse("letters-batch-mail", args=[batch.pk]))
    with pytest.raises(errors.MailSilent):
        run_job(batch, ends_as="failed")
    page = desk.get(reverse("letters-batch", args=[batch.pk]))
    assert "the mail server did not answer" in words(page)
    assert "Send 1 by e-mail now" in words(page)

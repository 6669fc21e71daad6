"""Reminders: whom, how they agreed, and what a message never says."""

import csv
from datetime import time
from io import StringIO
from typing import Any

import pytest
from django.core import mail
from django.test import Client as Browser
from django.urls import reverse

from clinic.accounts.models import Practice
from clinic.audit.models import Entry
from clinic.clients.models import Client
from clinic.scheduling.models import ReminderConsent
from clinic.scheduling.selectors.reminders import reminder_list
from clinic.scheduling.states import Status
from clinic.scheduling.words import ReminderChannel
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk_stories import (
    CLINICAL_TEXT,
    days,
    give_rich_record,
    kind,
    make_appointment,
    today,
)


@pytest.fixture
def person(cast: Cast) -> Client:
    return make_client(phone="555-0142", email="marguerite@mail.example")


@pytest.fixture
def mail_server(settings: Any) -> None:
    settings.EMAIL_HOST = "mail.example"
    settings.DEFAULT_FROM_EMAIL = "desk@clinic.example"


def tomorrow_at_nine(client: Client, cast: Cast, **differences: Any) -> Any:
    return make_appointment(client, cast.therapist, today() + days(1), time(9), **differences)


def agree(desk: Browser, client: Client, channel: str = "email") -> Any:
    return desk.post(reverse("reminder-consents", args=[client.pk]), {"channel": channel})


def send(desk: Browser) -> Any:
    return desk.post(reverse("reminders-send"), {"on": str(today() + days(1))}, follow=True)


@pytest.mark.usefixtures("mail_server")
def test_a_message_says_first_name_day_hour_and_phone_and_no_more(
    desk: Browser, cast: Cast, person: Client
) -> None:
    give_rich_record(person, cast.therapist)
    Practice.objects.update_or_create(
        pk=1, defaults={"name": "Harbour Practice", "phone": "555-0100"}
    )
    made = tomorrow_at_nine(person, cast, desk_note="brings daughter")
    agree(desk, person)
    send(desk)
    (sent,) = mail.outbox
    day = made.period.lower
    assert sent.to == ["marguerite@mail.example"]
    assert f"{day:%B %Y} at 09:00" in sent.body
    assert "Dear Marguerite" in sent.body
    assert "555-0100" in sent.body
    text = f"{sent.subject}\n{sent.body}"
    unsaid = (*CLINICAL_TEXT, kind().name, "Ångström", "daughter", person.record_number)
    assert not [word for word in unsaid if word in text]


@pytest.mark.usefixtures("mail_server")
def test_nobody_is_mailed_without_consent_or_twice(
    desk: Browser, cast: Cast, person: Client
) -> None:
    tomorrow_at_nine(person, cast)
    send(desk)
    agree(desk, person, "phone")
    send(desk)
    assert mail.outbox == []
    agree(desk, person)
    send(desk)
    send(desk)
    assert len(mail.outbox) == 1
    assert Entry.objects.filter(verb="reminder.sent", client=person).count() == 1
    (line,) = reminder_list(cast.front_desk, on=today() + days(1))
    assert line.sent_at is not None


@pytest.mark.usefixtures("mail_server")
def test_withdrawn_consent_counts_at_once_and_stays_on_record(
    desk: Browser, cast: Cast, person: Client
) -> None:
    tomorrow_at_nine(person, cast)
    agree(desk, person)
    consent = ReminderConsent.objects.get()
    desk.post(reverse("reminder-withdraw", args=[person.pk, consent.pk]))
    send(desk)
    assert mail.outbox == []
    page = desk.get(reverse("reminder-consents", args=[person.pk])).content.decode()
    assert "withdrawn" in page
    agree(desk, person)
    assert ReminderConsent.objects.count() == 2


@pytest.mark.usefixtures("mail_server")
def test_a_mail_server_that_fails_is_told_and_nothing_is_kept_as_sent(
    desk: Browser, cast: Cast, person: Client, settings: Any
) -> None:
    settings.EMAIL_BACKEND = "tests.clinic.scheduling.test_reminders.BrokenBackend"
    tomorrow_at_nine(person, cast)
    agree(desk, person)
    assert "did not answer" in send(desk).content.decode()
    assert not Entry.objects.filter(verb="reminder.sent").exists()


class BrokenBackend:
    """A mail server that cannot be reached."""

    def __init__(self, **kwargs: Any) -> None:
        pass

    def __enter__(self) -> "BrokenBackend":
        raise ConnectionRefusedError

    def __exit__(self, *error: object) -> None:
        pass


def test_without_a_mail_server_nothing_is_sent_and_it_is_said(
    desk: Browser, cast: Cast, person: Client
) -> None:
    tomorrow_at_nine(person, cast)
    agree(desk, person)
    assert "has not set up a mail server" in send(desk).content.decode()
    assert mail.outbox == []
    page = desk.get(reverse("reminders")).content.decode()
    assert "by e-mail</button>" not in page
    assert "E-mail is not set up" in page


def test_the_list_holds_who_is_still_expected(desk: Browser, cast: Cast, person: Client) -> None:
    tomorrow_at_nine(person, cast)
    other = make_client(family_name="Brook")
    make_appointment(
        other, cast.therapist, today() + days(1), time(11), status=Status.CANCELLED_EARLY
    )
    lines = reminder_list(cast.front_desk, on=today() + days(1))
    assert [line.family_name for line in lines] == ["Ångström"]
    assert "not asked" in desk.get(reverse("reminders")).content.decode()


def test_a_day_without_bookings_leads_to_the_next_that_has_some(
    desk: Browser, cast: Cast, person: Client
) -> None:
    empty, booked = today() + days(3), today() + days(6)
    make_appointment(person, cast.therapist, today() + days(4), status=Status.CANCELLED_EARLY)
    make_appointment(person, cast.therapist, booked)
    page = desk.get(reverse("reminders"), {"on": f"{empty:%Y-%m-%d}"}).content.decode()
    assert f"?on={booked:%Y-%m-%d}" in page
    last = desk.get(reverse("reminders"), {"on": f"{booked + days(1):%Y-%m-%d}"}).content.decode()
    assert "Next:" not in last


def test_the_csv_holds_the_same_and_no_cell_that_a_spreadsheet_runs(
    desk: Browser, cast: Cast
) -> None:
    person = make_client(given_name="=cmd()", family_name="Ångström", phone="+1 555 0142")
    tomorrow_at_nine(person, cast)
    ReminderConsent.objects.create(
        client=person, channel=ReminderChannel.PHONE, agreed_on=today(), by=cast.front_desk
    )
    answer = desk.get(reverse("reminders-file"), {"on": str(today() + days(1))})
    (row,) = csv.DictReader(StringIO(answer.content.decode("utf-8-sig")))
    assert (row["time"], row["agreed"], row["confirmed"]) == ("09:00", "by phone", "no")
    assert (row["given_name"], row["phone"]) == ("'=cmd()", "'+1 555 0142")


def test_each_client_on_a_list_taken_out_has_an_entry(desk: Browser, cast: Cast) -> None:
    people = [make_client(family_name=name) for name in ("Alder", "Birch")]
    for person, hour in zip((*people, people[0]), (9, 10, 11), strict=True):
        make_appointment(person, cast.therapist, today() + days(1), time(hour))
    desk.get(reverse("reminders-file"), {"on": str(today() + days(1))})
    noted = Entry.objects.filter(verb="reminders.taken_out", by=cast.front_desk)
    assert sorted(noted.values_list("client", flat=True)) == sorted(one.pk for one in people)


def test_the_same_consent_twice_is_refused(desk: Browser, person: Client) -> None:
    agree(desk, person)
    assert "agreed to this already" in agree(desk, person).content.decode()
    assert "required" in agree(desk, person, "").content.decode()
    assert ReminderConsent.objects.count() == 1

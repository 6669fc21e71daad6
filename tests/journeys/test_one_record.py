"""Two records of one person become one, and one record goes: with every refusal on the way."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.urls import reverse
from playwright.sync_api import BrowserContext, Page, expect

from clinic.accounts.models import User
from clinic.clients.models import Client
from clinic.scheduling.models import Appointment
from tests.builders import make_client, make_episode, today
from tests.cast import Cast
from tests.clinic.scheduling.desk import booked
from tests.clinic.visits.charting import signed

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name).click()


def cancel(page: Page, appointment: Appointment) -> None:
    page.goto(reverse("appointment-cancel", args=[appointment.pk]))
    page.get_by_label("Reason").select_option("other")
    page.locator("main form button").last.click()
    page.wait_for_url("**/calendar/?on=*")


def test_two_records_of_one_person_become_one(
    cast: Cast, page: Page, sign_in: Callable[[User], None], accessible: Callable[[], None]
) -> None:
    day = today() + timedelta(days=3)
    kept = make_client(given_name="Margret", record_number="T777")
    other = make_client(record_number="T778")
    signed(cast.therapist, make_episode(other, cast.therapist))
    booked(cast.therapist, day, client=kept)
    theirs = booked(cast.other_therapist, day, client=other)
    sign_in(cast.lead)

    page.goto(reverse("client", args=[kept.pk]))
    page.get_by_role("link", name="Merge with another record").click()
    accessible()
    page.get_by_label("Record number of the other record").fill("T999")
    press(page, "Compare the two")
    expect(page.get_by_text("No other record has this number")).to_be_visible()
    page.get_by_label("Record number of the other record").fill("T778")
    press(page, "Compare the two")
    expect(page.get_by_role("heading", name="Merge record T778 into T777")).to_be_visible()
    expect(page.get_by_text("Booked at the same time")).to_be_visible()
    accessible()
    page.get_by_label("Marguerite").check()
    page.get_by_label("I have compared the two").check()
    press(page, "Merge the two records")
    expect(page.get_by_text("Nothing is merged yet")).to_be_visible()
    expect(page.get_by_label("Marguerite")).to_be_checked()
    accessible()

    cancel(page, theirs)
    page.goto(reverse("client-merge-with", args=[kept.pk, other.pk]))
    expect(page.get_by_text("Booked at the same time")).to_have_count(0)
    page.get_by_label("Marguerite").check()
    page.get_by_label("I have compared the two").check()
    press(page, "Merge the two records")
    expect(page.get_by_text("Merged. Record T778 leads here now")).to_be_visible()
    page.goto(reverse("client", args=[other.pk]))
    page.wait_for_url(f"**{reverse('client', args=[kept.pk])}")
    expect(page.get_by_text("Record T778 was merged")).to_be_visible()
    page.goto(reverse("keeping"))
    expect(page.get_by_role("row", name="T778")).to_contain_text("T777")
    kept.refresh_from_db()
    assert (kept.given_name, kept.episodes.count()) == ("Marguerite", 1)


def test_a_record_is_erased_by_two_persons(
    cast: Cast,
    context: BrowserContext,
    page: Page,
    sign_in: Callable[[User], None],
    accessible: Callable[[], None],
) -> None:
    client = make_client(given_name="Perpetua", record_number="T900")
    signed(cast.therapist, make_episode(client, cast.therapist))
    coming = booked(cast.therapist, today() + timedelta(days=3), client=client)
    sign_in(cast.lead)

    page.goto(reverse("client", args=[client.pk]))
    page.get_by_role("link", name="Ask for an erasure").click()
    accessible()
    page.get_by_label("The period of keeping is over").check()
    page.get_by_label("Reason").fill("Order 12 of the court")
    press(page, "Ask for the erasure")
    expect(page.get_by_text("The client has an appointment to come")).to_be_visible()
    cancel(page, coming)
    page.goto(reverse("client-erase", args=[client.pk]))
    page.get_by_label("The period of keeping is over").check()
    page.get_by_label("Reason").fill("Order 12 of the court")
    press(page, "Ask for the erasure")
    expect(page.get_by_text("This record must be kept until")).to_be_visible()
    expect(page.get_by_label("Reason")).to_have_value("Order 12 of the court")
    page.get_by_label("A law or a court demands it").check()
    press(page, "Ask for the erasure")
    page.get_by_role("link", name="Waits for another person").click()
    expect(page.get_by_text("You asked for this yourself")).to_be_visible()
    expect(page.get_by_role("button", name="Erase for good")).to_have_count(0)
    accessible()

    context.clear_cookies()
    sign_in(cast.therapist)
    page.get_by_role("link", name="1 erasure waits for a second person").click()
    page.get_by_role("link", name="Look and decide").click()
    accessible()
    page.get_by_label("Type the record number").fill("T901")
    press(page, "Erase for good")
    expect(page.get_by_text("Type T900, exactly as it stands above")).to_be_visible()
    page.get_by_label("Type the record number").fill("T900")
    press(page, "Erase for good")
    expect(page.get_by_text("Record T900 is erased")).to_be_visible()
    accessible()
    page.goto(reverse("client", args=[client.pk]))
    expect(page.get_by_text("Record T900 was erased")).to_be_visible()
    client.refresh_from_db()
    assert client.erased_at is not None
    assert not Client.objects.filter(given_name="Perpetua").exists()

    context.clear_cookies()
    sign_in(cast.front_desk)
    page.goto(reverse("erasures"))
    expect(page.get_by_text("T900")).to_have_count(0)

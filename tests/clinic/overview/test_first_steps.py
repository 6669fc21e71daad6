"""A new practice: the lead's first page says what to set up, until all of it is there."""

from django.test import Client as Browser

from clinic.accounts.models import Practice
from tests.builders import make_client, make_referrer
from tests.cast import Cast
from tests.clinic.scheduling.desk import make_hours

STEPS = 'id="first-steps"'


def start_of(browser: Browser) -> str:
    return " ".join(browser.get("/").content.decode().split())


def test_the_lead_of_an_empty_practice_is_led_through_what_is_missing(lead: Browser) -> None:
    page = start_of(lead)
    assert STEPS in page
    for address in ("/practice/", "/staff-time/", "/referrers/", "/clients/"):
        assert f'<li><a href="{address}">' in page
    assert "Staff: done" in page  # the cast is there
    assert '<li><a href="/staff/">' not in page


def test_a_step_that_is_done_leads_nowhere_and_the_last_one_takes_the_list_away(
    lead: Browser, cast: Cast
) -> None:
    Practice.objects.update_or_create(pk=1, defaults={"street": "14 Alder Way"})
    make_hours(cast.therapist)
    make_referrer()
    page = start_of(lead)
    assert "Referrers: done" in page
    assert '<li><a href="/clients/">' in page
    make_client()
    assert STEPS not in start_of(lead)


def test_nobody_else_is_told(therapist: Browser, desk: Browser) -> None:
    assert STEPS not in start_of(therapist)
    assert STEPS not in start_of(desk)

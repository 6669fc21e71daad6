"""An invented day at the front desk: keys, no-show, a time filled again, recalls, going home."""

from collections.abc import Callable
from datetime import time
from io import BytesIO

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from clinic.accounts.models import User
from clinic.scheduling.models import Appointment, WaitListEntry
from clinic.scheduling.states import Status
from clinic.scheduling.words import Purpose
from tests.builders import make_client, make_episode
from tests.cast import Cast
from tests.clinic.scheduling.desk import make_hours, make_room
from tests.clinic.scheduling.desk_stories import days, kind, make_appointment, today

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

NAMES = ["Okafor", "Larch", "Delmonte", "Brandt", "Whitlock", "Ferris", "Sule", "Holm"]
# As many lines as one page must hold: three therapists with a full day each.
FULL_DAY = 24


def usual_day(cast: Cast) -> None:
    """Four clients today, two of them with a later booking; two on the wait list."""
    make_hours(cast.therapist, weekdays=range(7))
    room = make_room()
    for number, family in enumerate(NAMES[:4]):
        client = make_client(family_name=family, given_name="Ada", phone=f"555-010{number}")
        make_episode(client, cast.therapist)
        make_appointment(client, cast.therapist, today(), time(8 + number), room=room)
        if number % 2:
            make_appointment(client, cast.therapist, today() + days(1), time(8 + number))
    for family in NAMES[4:6]:
        client = make_client(family_name=family, given_name="Ivo", phone="555-0150")
        WaitListEntry.objects.create(
            client=client, kind=kind(), minutes=45, joined_by=cast.front_desk
        )


def line_of(page: Page, family: str):  # type: ignore[no-untyped-def]
    return page.locator("tr[data-line]", has_text=family)


def test_the_desk_runs_a_day(
    cast: Cast,
    page: Page,
    sign_in: Callable[[User], None],
    accessible: Callable[[], None],
) -> None:
    usual_day(cast)
    sign_in(cast.front_desk)
    page.goto("/day-sheet/")
    expect(page.locator("tr[data-line]")).to_have_count(4)
    accessible()

    # Arrival, start and end of the first, by keys alone.
    line_of(page, "Okafor").focus()
    for key, state in (("a", "Arrived"), ("s", "In session"), ("d", "Done")):
        page.keyboard.press(key)
        expect(line_of(page, "Okafor").locator(".sheet-state b")).to_have_text(state)
        expect(line_of(page, "Okafor")).to_be_focused()
    page.keyboard.press("ArrowDown")
    expect(line_of(page, "Larch")).to_be_focused()
    page.keyboard.press("x")
    expect(line_of(page, "Larch").locator(".sheet-state b")).to_have_text("No-show")

    # Tomorrow's appointment is cancelled, and the time goes to somebody who waits.
    freed = Appointment.objects.get(
        client__family_name="Brandt", period__startswith__date=today() + days(1)
    )
    page.goto(f"/appointments/{freed.pk}/cancel/")
    page.get_by_label("Reason").select_option("unwell")
    page.locator("main form button").last.click()
    page.goto("/wait-list/")
    accessible()
    tomorrow = page.get_by_role("row", name=f"{today() + days(1):%a %-d %b}").first
    tomorrow.get_by_role("link", name="Who fits").click()
    accessible()
    page.get_by_role("button", name="Ivo Whitlock declined").click()
    page.get_by_role("button", name="Book Ivo Ferris").click()
    page.wait_for_url("**/appointments/*/")
    made = Appointment.objects.get(client__family_name="Ferris")
    assert made.period.lower == freed.period.lower

    # A recall is booked from the list.
    page.goto("/recalls/?reason=nothing_booked")
    accessible()
    page.get_by_role("link", name="Book Ada Okafor").click()
    page.get_by_label("Day").first.fill(str(today() + days(3)))
    page.get_by_label("Time").first.fill("09:00")
    page.get_by_role("button", name="Book", exact=True).click()
    page.wait_for_url("**/calendar/**")
    page.goto("/recalls/?reason=nothing_booked")
    expect(page.get_by_role("link", name="Book Ada Okafor")).to_have_count(0)

    # Before going home.
    page.goto("/day-sheet/")
    open_ends = page.get_by_role("region", name="Before going home")
    expect(open_ends).not_to_contain_text("Okafor")
    expect(open_ends).not_to_contain_text("Larch")


def test_a_full_day_prints_on_one_page(
    cast: Cast, page: Page, sign_in: Callable[[User], None]
) -> None:
    people = [cast.therapist, cast.other_therapist, cast.lead]
    for person in people:
        make_hours(person, weekdays=range(7))
    for number in range(FULL_DAY):
        client = make_client(family_name=f"Family{number}", phone="555-0142")
        make_appointment(
            client,
            people[number % 3],
            today(),
            time(8 + number // 3),
            purpose=list(Purpose)[number % 5],
            status=Status.NO_SHOW if number % 7 == 0 else Status.BOOKED,
        )
    sign_in(cast.front_desk)
    page.goto("/day-sheet/")
    pages = PdfReader(BytesIO(page.pdf(prefer_css_page_size=True))).pages
    assert len(pages) == 1
    text = pages[0].extract_text()
    assert "Family23" in text
    assert "Offer time" not in text

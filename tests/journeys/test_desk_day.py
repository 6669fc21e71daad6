"""An invented day at the front desk: keys, no-show, a time filled again, recalls, going home."""

from collections.abc import Callable
from datetime import date, time
from io import BytesIO

import pytest
from playwright.sync_api import Locator, Page, expect
from pypdf import PdfReader

from clinic.accounts.models import User
from clinic.scheduling.models import Appointment, WaitListEntry
from clinic.scheduling.states import Status
from clinic.scheduling.words import Purpose
from tests.builders import make_client, make_episode
from tests.cast import Cast
from tests.clinic.scheduling.desk import a_monday, make_hours, make_room
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
    page.wait_for_url("**/calendar/?on=*")
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


def choose(page: Page, words: str) -> None:
    """Type part of a name; the only one it fits is chosen by itself."""
    page.get_by_label("Part of the name").fill(words)
    expect(page.locator("#clients-found input[type=radio]")).to_be_checked()


def fill_slot(page: Page, cast: Cast, day: date, clock: str) -> None:
    page.get_by_label("Kind").select_option(str(kind().pk))
    page.get_by_label("Day", exact=False).first.fill(f"{day:%-d %b %Y}")
    page.get_by_label("Time").first.fill(clock)
    page.get_by_label("Therapist").select_option(str(cast.therapist.pk))


def test_the_desk_takes_calls_and_a_walk_in(
    cast: Cast, page: Page, sign_in: Callable[[User], None], accessible: Callable[[], None]
) -> None:
    make_hours(cast.therapist)
    monday = a_monday()
    for family in NAMES[:2]:
        make_client(family_name=family, given_name="Ada", phone="555-0177")
    sign_in(cast.front_desk)
    page.goto("/calendar/")

    # A call: one key, part of a name, a time.
    page.keyboard.press("b")
    choose(page, "okaf")
    fill_slot(page, cast, monday, "9")
    page.keyboard.press("Enter")
    page.wait_for_url("**/calendar/?on=*")
    first = Appointment.objects.get(client__family_name="Okafor")

    # The next caller wants the same time: told why, and offered the nearest.
    page.keyboard.press("b")
    choose(page, "larch")
    fill_slot(page, cast, monday, "9")
    page.keyboard.press("Enter")
    expect(page.locator(".near")).to_contain_text("Nearest free times")
    expect(page.locator("[name=at]")).to_be_focused()
    accessible()
    page.locator(".near button").first.click()
    page.wait_for_url("**/calendar/?on=*")
    second = Appointment.objects.get(client__family_name="Larch")
    assert not (
        first.period.lower < second.period.upper and second.period.lower < first.period.upper
    )

    # Somebody unknown stands at the desk: registered, and given the next free time.
    page.goto("/clients/new/")
    expect(page.get_by_label("Given name").first).to_be_focused()
    page.keyboard.type("Wanda")
    page.get_by_label("Family name").first.fill("Quist")
    page.get_by_label("Date of birth").first.fill("7 May 1958")
    page.get_by_label("Sex", exact=False).first.select_option("female")
    page.get_by_role("button", name="Register").click()
    page.wait_for_url("**/clients/*-*/")
    page.goto("/free-times/")
    page.get_by_label("Kind").select_option(str(kind().pk))
    page.get_by_role("button", name="Find").click()
    accessible()
    page.get_by_role("link", name="Book", exact=True).first.click()
    choose(page, "quist")
    page.keyboard.press("Enter")
    page.wait_for_url("**/calendar/**")
    assert Appointment.objects.filter(client__family_name="Quist").count() == 1


def test_a_series_is_shown_before_it_is_booked_and_a_booking_can_be_dragged(
    cast: Cast, page: Page, sign_in: Callable[[User], None], accessible: Callable[[], None]
) -> None:
    make_hours(cast.therapist)
    monday = a_monday()
    client = make_client(family_name="Quist")
    first = make_appointment(client, cast.therapist, monday, time(9))
    sign_in(cast.front_desk)
    page.goto("/series/new/")
    choose(page, "quist")
    fill_slot(page, cast, monday + days(7), "10:30")
    page.get_by_role("button", name="Show the dates").click()
    expect(page.get_by_role("heading", name="15 dates")).to_be_visible()
    assert Appointment.objects.filter(client__family_name="Quist").count() == 1
    accessible()
    page.get_by_role("button", name="Book the series").click()
    page.wait_for_url("**/appointments/*/")
    assert Appointment.objects.filter(client__family_name="Quist").count() == 16

    # Dragged two hours on and made shorter, on the calendar itself.
    page.goto(f"/calendar/?on={monday}&show=day")
    page.keyboard.press("ArrowRight")
    expect(page.locator(".strips td a").first).to_be_focused()
    booked = page.locator(f'a[data-id="{first.pk}"]')
    hour_px = page.locator("th.hour").first.bounding_box()["width"]  # type: ignore[index]
    drag_by(page, booked, 2 * hour_px)
    page.wait_for_url("**/calendar/**")
    expect(booked).to_have_attribute("data-begins", "11:00")
    box = booked.locator("xpath=..").bounding_box()
    assert box
    drag_by(page, booked, -hour_px / 2, at_px=box["width"] - 4)
    expect(booked).to_have_attribute("data-minutes", str(kind().minutes - 30))


def drag_by(page: Page, what: Locator, along_px: float, *, at_px: float | None = None) -> None:
    box = what.locator("xpath=..").bounding_box()
    assert box
    x, y = box["x"] + (box["width"] / 3 if at_px is None else at_px), box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + along_px, y, steps=6)
    with page.expect_navigation():
        page.mouse.up()

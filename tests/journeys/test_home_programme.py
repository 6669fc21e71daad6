"""A home programme as a therapist makes it: planned, edited by keys and by dragging, issued."""

from collections.abc import Callable
from io import BytesIO

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from clinic.accounts.models import User
from programmes.models import Programme
from tests.cast import Cast
from tests.programmes.bodies import arm_episode

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


def places_of(page: Page) -> list[str]:
    return [text.split("\n")[0] for text in page.locator(".draft-step h3").all_inner_texts()]


def revision(page: Page) -> str:
    return page.locator("#draft-revision").input_value()


def answered(page: Page, act: Callable[[], None]) -> None:
    """Do something and wait until the server's answer stands on the page."""
    before = revision(page)
    act()
    page.wait_for_selector(f'#draft-revision:not([value="{before}"])', state="attached")


def test_a_programme_is_planned_edited_and_issued(
    cast: Cast, page: Page, sign_in: Callable[[User], None], accessible: Callable[[], None]
) -> None:
    episode = arm_episode(cast.therapist)
    sign_in(cast.therapist)
    page.goto(f"/clients/{episode.client_id}/")
    page.get_by_role("button", name="programme").or_(
        page.get_by_role("link", name="programme")
    ).first.click()
    if page.get_by_role("button", name="New programme").count():
        page.get_by_role("button", name="New programme").click()
    page.wait_for_selector(".draft-step")
    planned = places_of(page)
    expect(page.locator("#draft-summary")).to_contain_text("Sound")

    # By keys: the second step goes down, and the focus goes with it.
    page.locator("#step-2 input").first.focus()
    answered(page, lambda: page.keyboard.press("Alt+ArrowDown"))
    assert places_of(page)[2] == planned[1]
    expect(page.locator("#step-3 input").first).to_be_focused()
    answered(page, lambda: page.keyboard.press("Alt+ArrowUp"))
    assert places_of(page) == planned

    # A fault is told beside the step, and undone.
    answered(page, page.get_by_role("button", name="Remove step 1", exact=True).click)
    expect(page.locator("#draft-summary")).not_to_contain_text("Sound:")
    accessible()
    answered(page, page.get_by_role("button", name="Undo").click)
    assert places_of(page) == planned

    _repeat_where_it_stands(page)
    assert places_of(page) == planned

    # By dragging, far enough to be unsound; then planned again.
    answered(page, lambda: _drag(page, "#step-8 .draft-handle", "#step-9 .draft-words"))
    assert places_of(page)[8] == planned[7]
    assert sorted(places_of(page)) == sorted(planned)
    expect(page.locator(".draft-faulty").first).to_be_visible()
    answered(page, page.get_by_role("button", name="Plan again").click)
    assert places_of(page) == planned

    # Typing and then tabbing onto a button presses nothing.
    answered(page, lambda: _type_a_note(page))
    expect(page.locator("#step-1").get_by_role("button", name="Repeat step 1")).to_be_focused()
    page.reload()
    assert places_of(page) == planned

    # A count and a note are kept as they are typed, and the last ones go along to the issue page.
    page.locator("#step-5 input").first.fill("7")
    page.get_by_role("button", name="Save and go to issue").first.click()
    page.wait_for_url("**/issue/")
    expect(page.locator("main")).to_contain_text("Sound")
    accessible()
    page.get_by_role("button", name="Issue the programme").click()
    page.wait_for_selector("text=In the client's hands")
    accessible()

    given = Programme.objects.get(issued_at__isnull=False)
    assert len(given.steps) == len(planned)
    assert given.steps[4]["repetitions"] == 7
    text = "".join(sheet.extract_text() for sheet in PdfReader(BytesIO(bytes(given.handout))).pages)
    assert "Go slowly here" in " ".join(text.split())
    page.goto(f"/clients/{episode.client_id}/")
    expect(page.locator("main")).to_contain_text("in the client's hands", ignore_case=True)


def _repeat_where_it_stands(page: Page) -> None:
    """A step far down is exchanged in its place: the page does not fly to its end and back."""
    repeat = page.get_by_role("button", name="Repeat step 7", exact=True)
    repeat.scroll_into_view_if_needed()
    stood_px = page.evaluate("scrollY")
    answered(page, repeat.click)
    assert abs(page.evaluate("scrollY") - stood_px) < 800
    answered(page, page.get_by_role("button", name="Undo").click)


def _type_a_note(page: Page) -> None:
    page.get_by_label("Note for the client, step 1", exact=True).fill("Go slowly here")
    page.keyboard.press("Tab")


def _drag(page: Page, handle: str, onto: str) -> None:
    """As a hand does it: down, over in a few moves, up."""
    page.locator(handle).hover()
    page.mouse.down()
    box = page.locator(onto).bounding_box()
    assert box
    page.mouse.move(box["x"] + 20, box["y"] + 20, steps=8)
    page.locator(onto).hover()
    page.mouse.up()

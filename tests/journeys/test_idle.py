"""Nobody at the desk: the page is covered, what was typed stays, and only its person uncovers it.

The browser's clock is moved on, and the server's row of the session with it.
"""

from collections.abc import Callable
from datetime import timedelta
from urllib.parse import quote_plus

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from clinic.accounts.access import SignedIn
from clinic.accounts.models import User
from tests.builders import make_client, make_episode
from tests.cast import PASSWORD, Cast
from tests.clinic.visits.charting import draft
from tests.journeys.test_charting import KEPT_HERE

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

TYPED = "Slept on the side, ring loose again"


def let_pass(page: Page, **time: int) -> None:
    """No key and no touch for so long, in the browser and, to the second, on the server."""
    span = timedelta(**time)
    SignedIn.objects.exclude(user=None).update(seen_at=timezone.now() - span)
    page.clock.fast_forward(int(span.total_seconds() * 1000))


def save(page: Page, field: str, words: str) -> None:
    """Types, and waits until the server has answered for these very words."""
    sent = quote_plus(words)
    with page.expect_response(lambda answer: sent in (answer.request.post_data or "")) as answer:
        page.locator(field).fill(words)
    assert answer.value.ok
    expect(page.locator("#saved")).to_contain_text("Saved")


def open_note(page: Page, cast: Cast, sign_in: Callable[[User], None]) -> str:
    episode = make_episode(make_client(), cast.therapist)
    note = draft(cast.therapist, episode)
    page.clock.install(time=timezone.now())
    sign_in(cast.therapist)
    page.goto(f"/visits/{note.pk}/")
    save(page, "#subjective", TYPED)
    return str(episode.client.family_name)


def test_a_covered_page_shows_nothing_and_comes_back_as_it_was(
    cast: Cast, page: Page, sign_in: Callable[[User], None], accessible: Callable[[], None]
) -> None:
    name = open_note(page, cast, sign_in)
    before = page.title()
    let_pass(page, minutes=14, seconds=10)
    expect(page.locator("#idle-soon")).to_contain_text("signed out soon")
    let_pass(page, minutes=16)
    cover = page.get_by_role("dialog")
    expect(cover).to_contain_text("Signed out")
    assert page.title() == "Signed out · Ebbline"
    assert name not in page.locator("body").aria_snapshot()
    expect(page.locator("#subjective")).to_be_hidden()
    accessible()
    for _ in range(3):  # a browser lets a dialog refuse the first only
        page.keyboard.press("Escape")
    expect(cover).to_contain_text("Signed out")
    cover.get_by_label("Password").fill("wrong")
    page.keyboard.press("Enter")
    expect(cover.get_by_role("alert")).to_contain_text("do not belong together")
    cover.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(cover).to_have_count(0)
    expect(page.locator("#subjective")).to_have_value(TYPED)
    assert page.title() == before
    save(page, "#plan", "Same again on Thursday")
    page.reload()
    expect(page.locator("#subjective")).to_have_value(TYPED)
    expect(page.locator("#plan")).to_have_value("Same again on Thursday")


def test_another_person_at_a_covered_page_gets_their_own_start(
    cast: Cast, page: Page, sign_in: Callable[[User], None]
) -> None:
    open_note(page, cast, sign_in)
    page.locator("#plan").fill("Not with the server yet")
    assert page.evaluate(KEPT_HERE)
    let_pass(page, minutes=16)
    cover = page.get_by_role("dialog")
    cover.get_by_label("Sign-in name").fill(cast.front_desk.sign_in_name)
    cover.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.locator(".top-person")).to_contain_text(cast.front_desk.display_name)
    assert TYPED not in page.content()
    assert not page.evaluate(KEPT_HERE)


def test_a_key_keeps_the_person_signed_in(
    cast: Cast, page: Page, sign_in: Callable[[User], None]
) -> None:
    page.clock.install(time=timezone.now())
    sign_in(cast.front_desk)
    let_pass(page, minutes=14, seconds=10)
    warning = page.locator("#idle-soon")
    expect(warning).to_be_visible()
    with page.expect_response("**/still-here/"):
        page.keyboard.press("Shift")
    expect(warning).to_have_count(0)
    seen_at = SignedIn.objects.get(user=cast.front_desk).seen_at
    assert timezone.now() - seen_at < timedelta(minutes=1)


def test_a_second_tab_still_sends_its_form_after_signing_in_again_in_the_first(
    cast: Cast, page: Page, sign_in: Callable[[User], None]
) -> None:
    page.clock.install(time=timezone.now())
    sign_in(cast.front_desk)
    SignedIn.objects.exclude(user=None).update(seen_at=timezone.now() - timedelta(minutes=16))
    first = page.context.new_page()
    first.goto("/")
    first.get_by_label("Sign-in name").fill(cast.front_desk.sign_in_name)
    first.get_by_label("Password").fill(PASSWORD)
    first.keyboard.press("Enter")
    expect(first.locator(".top-person")).to_contain_text(cast.front_desk.display_name)
    token = page.locator(".top-search [name=csrfmiddlewaretoken]")
    before = token.input_value()
    page.clock.fast_forward(16 * 60 * 1000)
    expect(token).not_to_have_value(before)
    expect(page.get_by_role("dialog")).to_have_count(0)
    page.locator("#top-search").fill("Nobody")
    page.locator("#top-search").press("Enter")
    expect(page).to_have_title("Clients · Ebbline")

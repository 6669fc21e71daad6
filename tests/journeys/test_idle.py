"""Nobody at the desk: the page is covered, what was typed stays, and only its person uncovers it.

The browser's clock is moved on, and the server's row of the session with it.
"""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from clinic.accounts.access import SignedIn
from clinic.accounts.models import User
from tests.builders import make_client, make_episode
from tests.cast import PASSWORD, Cast
from tests.clinic.visits.charting import draft

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

TYPED = "Slept on the side, ring loose again"


def let_pass(page: Page, **time: int) -> None:
    """Time goes by without a key or a touch, in the browser and on the server."""
    span = timedelta(**time)
    for row in SignedIn.objects.exclude(user=None):
        SignedIn.objects.filter(pk=row.pk).update(seen_at=row.seen_at - span)
    page.clock.fast_forward(int(span.total_seconds() * 1000))


def open_note(page: Page, cast: Cast, sign_in: Callable[[User], None]) -> str:
    episode = make_episode(make_client(), cast.therapist)
    note = draft(cast.therapist, episode)
    page.clock.install(time=timezone.now())
    sign_in(cast.therapist)
    page.goto(f"/visits/{note.pk}/")
    page.locator("#subjective").fill(TYPED)
    return str(episode.client.family_name)


def test_a_covered_page_shows_nothing_and_comes_back_as_it_was(
    cast: Cast, page: Page, sign_in: Callable[[User], None], accessible: Callable[[], None]
) -> None:
    name = open_note(page, cast, sign_in)
    before = page.title()
    let_pass(page, minutes=14, seconds=20)
    expect(page.locator("#idle-soon")).to_contain_text("signed out soon")
    let_pass(page, minutes=2)
    cover = page.get_by_role("dialog")
    expect(cover).to_contain_text("Signed out")
    assert page.title() == "Signed out · Ebbline"
    assert name not in page.locator("body").aria_snapshot()
    expect(page.locator("#subjective")).to_be_hidden()
    accessible()
    page.keyboard.press("Escape")
    cover.get_by_label("Password").fill("wrong")
    page.keyboard.press("Enter")
    expect(cover.get_by_role("alert")).to_contain_text("do not belong together")
    cover.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(cover).to_have_count(0)
    expect(page.locator("#subjective")).to_have_value(TYPED)
    assert page.title() == before
    page.locator("#plan").fill("Same again on Thursday")
    page.clock.fast_forward(5000)
    expect(page.locator("#saved")).to_contain_text("Saved")
    page.reload()
    expect(page.locator("#subjective")).to_have_value(TYPED)
    expect(page.locator("#plan")).to_have_value("Same again on Thursday")


def test_another_person_at_a_covered_page_gets_their_own_start(
    cast: Cast, page: Page, sign_in: Callable[[User], None]
) -> None:
    open_note(page, cast, sign_in)
    let_pass(page, minutes=16)
    cover = page.get_by_role("dialog")
    cover.get_by_label("Sign-in name").fill(cast.front_desk.sign_in_name)
    cover.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.locator(".top-person")).to_contain_text(cast.front_desk.display_name)
    assert TYPED not in page.content()


def test_a_key_keeps_the_person_signed_in(
    cast: Cast, page: Page, sign_in: Callable[[User], None]
) -> None:
    page.clock.install(time=timezone.now())
    sign_in(cast.front_desk)
    let_pass(page, minutes=14, seconds=20)
    warning = page.locator("#idle-soon")
    expect(warning).to_be_visible()
    with page.expect_response("**/still-here/"):
        page.keyboard.press("Shift")
    expect(warning).to_have_count(0)
    seen_at = SignedIn.objects.get(user=cast.front_desk).seen_at
    assert timezone.now() - seen_at < timedelta(minutes=1)

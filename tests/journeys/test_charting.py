"""A visit charted in the browser by keyboard alone, and what may not get lost on the way."""

from collections.abc import Callable, Iterator
from datetime import time

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.visits.lists import Phrase, Service
from clinic.visits.models import SetAside, VisitNote
from clinic.visits.services.notes import save_note
from clinic.visits.words import NoteState, Section, VisitKind
from tests.builders import (
    ARM_OTHER_CM,
    ARM_SWOLLEN_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
    today,
)
from tests.cast import Cast
from tests.clinic.scheduling.desk_stories import days, make_appointment
from tests.clinic.visits.charting import PLANNED, draft, signed, typed

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

# Keys of a plain day of treatment, from the day sheet to the signature, words left out that
# are told by the client. Counted once by hand and kept, so that no later change adds any unseen.
MOST_KEYS = 27


# 11 % more volume than ten days ago, station by station within what is plausible.
ARM_RISEN_CM = [round(girth * 1.056, 1) for girth in ARM_SWOLLEN_CM]
# What of a note is kept in the tab.
# The middle of the field in use belongs to that field.
IN_USE_IS_SEEN = """() => {
  const { left, width, top, height } = document.activeElement.getBoundingClientRect();
  return document.elementFromPoint(left + width / 2, top + height / 2) === document.activeElement;
}"""
KEPT_HERE = "Object.keys(sessionStorage).filter((name) => name.startsWith('note:'))"


@pytest.fixture(autouse=True)
def lists(transactional_db: None) -> None:
    """What the migrations put in, added again where a test before has emptied the tables."""
    for code, name, is_timed in (("97140", "hands-on drainage", True), ("97535", "teaching", True)):
        if not Service.objects.filter(code=code).exists():
            Service.objects.create(
                code=code, name=name, is_timed=is_timed, active_from=today() - days(900)
            )
    for section in Section:
        Phrase.objects.get_or_create(section=section, name="usual", text="As usual, {given_name}.")


@pytest.fixture
def episode(cast: Cast) -> Episode:
    """The ninth day of treatment: taped twice, charted last yesterday."""
    episode = make_episode(make_client(), cast.therapist, opened_on=today() - days(20))
    protocol = make_protocol()
    make_session(episode, protocol, taken_on=today() - days(10), is_baseline=True)
    signed(cast.therapist, episode, visited_on=today() - days(1))
    return episode


@pytest.fixture
def lossy(context: BrowserContext) -> Iterator[Page]:
    """A page whose requests may fail, which the browser complains of; nothing else may be."""
    page, complaints = context.new_page(), []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on(
        "console",
        lambda said: (
            complaints.append(said.text)
            if said.type == "error" and "Failed to load" not in said.text
            else None
        ),
    )
    page.on("dialog", lambda asked: asked.accept())  # "leave the page?"
    yield page
    assert not complaints, complaints


class Hands:
    """Presses keys and counts them."""

    def __init__(self, page: Page) -> None:
        self.page, self.keys = page, 0

    def press(self, *names: str) -> None:
        for name in names:
            self.keys += 1
            self.page.keyboard.press(name)

    def type(self, text: str) -> None:
        self.keys += len(text)
        self.page.keyboard.type(text)


def test_a_plain_day_is_charted_from_the_day_sheet_to_the_signature_by_keyboard(
    cast: Cast,
    episode: Episode,
    page: Page,
    sign_in: Callable[[User], None],
    accessible: Callable[[], None],
) -> None:
    make_appointment(episode.client, cast.therapist, today(), time(9))
    sign_in(cast.therapist)
    page.goto("/day-sheet/")
    hands = Hands(page)
    hands.press("ArrowDown", "v")
    expect(page.get_by_text(PLANNED)).to_be_visible()
    expect(page.locator("#ask-all")).to_be_focused()
    accessible()

    hands.press("Enter")  # each precaution was asked
    expect(page.locator("#subjective")).to_be_focused()
    hands.type("/u")
    hands.press("Enter", "Control+Enter", "Control+Enter")  # past the observations
    hands.press("Enter")  # the services of yesterday
    hands.type("40")
    hands.press("Enter")
    hands.type("15")
    expect(page.locator("#units")).to_contain_text("4 units")
    hands.press("Control+Enter")
    hands.type("/u")
    hands.press("Enter", "Control+Enter")
    hands.type("6")  # days of the home programme
    expect(page.locator("#adherence")).to_contain_text("Kept")
    hands.press("Control+Enter")
    hands.type("/u")
    hands.press("Enter", "Control+Enter", "Enter")
    page.wait_for_url("**/sign/")
    accessible()
    hands.press("Enter")
    expect(page.get_by_text(f"Signed by {cast.therapist.signature}", exact=True)).to_be_visible()
    accessible()
    note = VisitNote.objects.get(visited_on=today())
    assert note.state is NoteState.SIGNED
    assert [row.minutes for row in note.treatments.all()] == [40, 15]
    assert hands.keys <= MOST_KEYS


def test_a_red_flag_at_a_remeasurement_is_acknowledged_on_the_way_to_the_signature(
    cast: Cast, episode: Episode, page: Page, sign_in: Callable[[User], None]
) -> None:
    note = draft(cast.therapist, episode, kind=VisitKind.REMEASUREMENT)
    sign_in(cast.therapist)
    page.goto(f"/visits/{note.pk}/")
    hands = Hands(page)
    hands.press("Enter")
    expect(page.locator("#subjective")).to_be_focused()
    hands.type("Feels hot since Sunday")
    hands.press("Control+Enter", "Enter")  # to the tape, and open it
    expect(page.locator("input.girth").first).to_be_focused()
    for girth in [*ARM_RISEN_CM, *ARM_OTHER_CM]:
        hands.type(str(girth))
        hands.press("Enter")
    hands.press("Enter", "Enter")  # past the weight, and record
    expect(page.get_by_role("heading", name="Sudden increase")).to_be_visible()
    page.locator("#plan").focus()
    hands.type("Examined today before anything else")
    hands.press("Control+Enter")
    expect(page.get_by_label("What was done")).to_be_focused()
    hands.type("Phoned the referrer")
    hands.press("Enter")
    expect(page.locator("#red_flags")).to_contain_text("Acknowledged")
    expect(page.locator("#go-sign")).to_be_focused()
    hands.press("Enter")
    page.wait_for_url("**/sign/")
    hands.press("Enter")
    expect(page.get_by_text(f"Signed by {cast.therapist.signature}", exact=True)).to_be_visible()
    expect(page.get_by_text("Phoned the referrer")).to_be_visible()
    note.refresh_from_db()
    assert note.state is NoteState.SIGNED


def test_a_limb_is_taped_within_the_visit_and_the_text_stays(
    cast: Cast, episode: Episode, page: Page, sign_in: Callable[[User], None]
) -> None:
    note = draft(cast.therapist, episode)
    sign_in(cast.therapist)
    page.goto(f"/visits/{note.pk}/")
    page.locator("#subjective").fill("Heavy in the evening")
    page.locator("#measure summary").click()
    expect(page.locator("input.girth").first).to_be_focused()
    for girth in [*ARM_SWOLLEN_CM, *ARM_OTHER_CM]:
        page.keyboard.type(str(girth))
        page.keyboard.press("Enter")
    page.get_by_role("button", name="Record session").click()
    expect(page.locator("#readings")).to_contain_text("excess")
    expect(page.locator("#subjective")).to_have_value("Heavy in the evening")
    expect(page.locator("#saved")).to_contain_text("Saved")
    note.refresh_from_db()
    assert note.subjective == "Heavy in the evening"


def wait_until_nothing_is_kept(page: Page) -> None:
    """The server has it all. (A string given to wait for would be refused by the page's policy.)"""
    for _ in range(400):
        if not page.evaluate(KEPT_HERE):
            return
        page.wait_for_timeout(50)
    raise AssertionError("still kept in the tab alone")


def test_a_lost_connection_keeps_the_text_and_sends_it_by_itself(
    cast: Cast, episode: Episode, lossy: Page, sign_in: Callable[[User], None]
) -> None:
    note = draft(cast.therapist, episode)
    sign_in(cast.therapist)
    lossy.goto(f"/visits/{note.pk}/")
    lost: list[Route] = []
    lossy.route("**/save/", lambda route: (lost.append(route), route.fulfill(status=503)))
    lossy.locator("#subjective").fill("Typed in a lift")
    lossy.locator("#plan").focus()
    expect(lossy.locator("#saved")).to_contain_text("Not saved")
    lossy.locator("#plan").fill("And this as well")
    lossy.unroute("**/save/")
    expect(lossy.locator("#saved")).to_contain_text("Saved")
    expect(lossy.locator("#saved")).not_to_contain_text("Not saved")
    lossy.get_by_role("button", name="Save draft").click()
    wait_until_nothing_is_kept(lossy)
    lossy.reload()
    expect(lossy.locator("#plan")).to_have_value("And this as well")
    note.refresh_from_db()
    assert (note.subjective, note.plan) == ("Typed in a lift", "And this as well")
    assert lost
    assert not lossy.evaluate(KEPT_HERE)


def test_a_page_opened_again_brings_back_what_the_server_never_got(
    cast: Cast, episode: Episode, lossy: Page, sign_in: Callable[[User], None]
) -> None:
    note = draft(cast.therapist, episode)
    sign_in(cast.therapist)
    lossy.goto(f"/visits/{note.pk}/")
    lossy.route("**/save/", lambda route: route.fulfill(status=503))
    lossy.locator("#subjective").fill("Not yet anywhere")
    lossy.locator("#plan").focus()
    expect(lossy.locator("#saved")).to_contain_text("Not saved")
    lossy.unroute("**/save/")
    lossy.reload()
    expect(lossy.locator("#subjective")).to_have_value("Not yet anywhere")
    expect(lossy.locator("#saved")).to_contain_text("Saved")
    note.refresh_from_db()
    assert note.subjective == "Not yet anywhere"


def test_signing_in_again_in_another_tab_saves_what_was_typed_meanwhile(
    cast: Cast,
    episode: Episode,
    page: Page,
    context: BrowserContext,
    sign_in: Callable[[User], None],
) -> None:
    note = draft(cast.therapist, episode)
    sign_in(cast.therapist)
    page.goto(f"/visits/{note.pk}/")
    context.clear_cookies()
    page.locator("#subjective").fill("Typed while signed out")
    page.locator("#plan").focus()
    expect(page.locator("#saved")).to_contain_text("You are signed out")
    other = context.new_page()
    other.goto("/sign-in/")
    other.get_by_label("Sign-in name").fill(cast.therapist.sign_in_name)
    other.get_by_label("Password").fill("correct tape in hand 7")
    other.keyboard.press("Enter")
    other.wait_for_selector("header.top")
    page.bring_to_front()
    page.evaluate("window.dispatchEvent(new Event('focus'))")
    expect(page.locator("#saved")).to_contain_text("Saved")
    note.refresh_from_db()
    assert note.subjective == "Typed while signed out"


def test_two_devices_meet_side_by_side_and_both_texts_stay(
    cast: Cast,
    episode: Episode,
    page: Page,
    sign_in: Callable[[User], None],
    accessible: Callable[[], None],
) -> None:
    note = draft(cast.therapist, episode)
    sign_in(cast.therapist)
    page.goto(f"/visits/{note.pk}/")
    theirs = typed(sections={Section.SUBJECTIVE: "From the tablet"}, treatments=())
    save_note(note=note, typed=theirs, revision=note.revision, by=cast.other_therapist)
    page.locator("#subjective").fill("From the laptop")
    page.locator("#plan").focus()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("From the tablet")
    expect(dialog).to_contain_text("From the laptop")
    accessible()
    dialog.get_by_role("button", name="Settle").press("Enter")
    expect(page.locator("#subjective")).to_have_value("From the tablet\n\nFrom the laptop")
    assert not SetAside.objects.filter(settled_at=None).exists()


def test_signing_out_leaves_nothing_of_the_client_in_the_tab(
    cast: Cast, episode: Episode, lossy: Page, sign_in: Callable[[User], None]
) -> None:
    note = draft(cast.therapist, episode)
    sign_in(cast.therapist)
    lossy.goto(f"/visits/{note.pk}/")
    lossy.route("**/save/", lambda route: route.fulfill(status=503))
    lossy.locator("#subjective").fill("Only here")
    lossy.locator("#plan").focus()
    expect(lossy.locator("#saved")).to_contain_text("Not saved")
    assert "Only here" in lossy.evaluate("JSON.stringify(sessionStorage)").replace("+", " ")
    lossy.get_by_role("button", name="Sign out").click()
    lossy.wait_for_url("**/sign-in/**")
    assert not lossy.evaluate(KEPT_HERE)
    assert lossy.evaluate("localStorage.length") == 0


def test_a_tablet_held_upright_needs_no_scrolling_sideways(
    cast: Cast, episode: Episode, page: Page, sign_in: Callable[[User], None]
) -> None:
    note = draft(cast.therapist, episode)
    page.set_viewport_size({"width": 820, "height": 1180})
    sign_in(cast.therapist)
    page.goto(f"/visits/{note.pk}/")
    assert page.evaluate("document.documentElement.scrollWidth") <= 820


def test_the_girth_in_use_stays_in_view_while_complaints_push_it_down(
    cast: Cast, episode: Episode, page: Page, sign_in: Callable[[User], None]
) -> None:
    sign_in(cast.therapist)
    page.emulate_media(reduced_motion="reduce")
    page.set_viewport_size({"width": 820, "height": 640})
    page.goto(f"/episodes/{episode.pk}/girths/new/")
    for asked in range(1, 6):
        page.keyboard.type("no number")
        page.keyboard.press("Enter")
        expect(page.locator(".ask:has(p)")).to_have_count(asked)
        page.wait_for_function(IN_USE_IS_SEEN)  # it moves once the answer has settled

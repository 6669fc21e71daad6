"""Three visits of the demo's day, charted by keyboard from the day sheet to the signature.

The evaluation is taped within the visit, the ninth treatment day goes by phrases and the services
of the day before, the surveillance visit meets a red flag. Every key is counted and printed.
"""

from collections.abc import Callable
from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect

from clinic.accounts.models import User
from clinic.demo.scenario import demo_id
from clinic.visits.models import VisitNote
from clinic.visits.words import NoteState
from tests.builders import ARM_OTHER_CM, today
from tests.cast import PASSWORD

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

# The other arm 6 % wider than the usual one: nothing that is asked about. Invented.
USUAL_CM = [Decimal(str(girth_cm)) for girth_cm in ARM_OTHER_CM]
WIDER = Decimal("1.06")

# Keys beside the client's own words, as counted once by hand. Of the evaluation 22 girths and a
# weight take four figures and an Enter each.
MOST_KEYS = {"evaluation": 133, "ninth day": 35, "red flag": 19}


class Hands:
    """Presses keys and counts them, words apart: how much is told is not the page's doing."""

    def __init__(self, page: Page) -> None:
        self.page, self.keys, self.letters = page, 0, 0

    def press(self, *names: str) -> None:
        for name in names:
            self.keys += 1
            self.page.keyboard.press(name)

    def figures(self, text: str) -> None:
        self.keys += len(text)
        self.page.keyboard.type(text)

    def say(self, words: str) -> None:
        self.letters += len(words)
        self.page.keyboard.type(words)

    def told(self, visit: str) -> str:
        return f"{visit}: {self.keys} keys and {self.letters} letters of words"


@pytest.fixture
def tomas(demo_today: None) -> User:
    """The demo's therapist, with a password of this test."""
    user = User.objects.get(sign_in_name="tomas")
    user.set_password(PASSWORD)
    user.must_choose_password = False
    user.save()
    return user


def open_visit(page: Page, hands: Hands, family_name: str) -> None:
    """Down the day sheet to the line, and to its note."""
    page.goto("/day-sheet/")
    line = page.locator("tr[data-line]", has_text=family_name)
    expect(line).to_be_visible()
    hands.press("ArrowDown")
    while not line.evaluate("(one) => one === document.activeElement"):
        hands.press("ArrowDown")
    hands.press("v")
    expect(page.locator("#ask-all")).to_be_focused()


def ask(page: Page, hands: Hands) -> None:
    hands.press("p")
    expect(page.locator("#subjective")).to_be_focused()


def sign(page: Page, hands: Hands, tomas: User) -> None:
    """From the plan on."""
    hands.press("Control+Enter", "Enter")
    put_the_name(page, hands, tomas)


def put_the_name(page: Page, hands: Hands, tomas: User) -> None:
    """On the page to sign, which says "To be signed by" in nearly the words it is waited for."""
    page.wait_for_url("**/sign/")
    hands.press("Enter")
    expect(page.get_by_text(f"Signed by {tomas.signature}", exact=True)).to_be_visible()


def signed_note(story: str) -> VisitNote:
    note = VisitNote.objects.get(episode=demo_id("episode", story), visited_on=today())
    assert note.state is NoteState.SIGNED
    return note


def evaluate(page: Page, tomas: User) -> Hands:
    hands = Hands(page)
    open_visit(page, hands, "Halloran-Paik")
    hands.press("m")
    expect(page.locator("input.girth").first).to_be_focused()
    for girth_cm in [*USUAL_CM, *(cm * WIDER for cm in USUAL_CM)]:
        hands.figures(f"{girth_cm:.1f}")
        hands.press("Enter")
    hands.figures("71.5")
    hands.press("Enter", "Enter")
    expect(page.locator("#readings")).to_contain_text("excess")
    ask(page, hands)
    hands.say("Forearm full since the operation, heavy in the evening.")
    hands.press("Control+Enter")
    hands.say("Pits, skin whole.")
    hands.press("Control+Enter")
    hands.press("e", "Tab")  # the service that begins so
    hands.figures("45")
    hands.press("Control+Enter", "Control+Enter", "Control+Enter")
    hands.say("Intensive phase, five visits a week from tomorrow.")
    sign(page, hands, tomas)
    return hands


def treat(page: Page, tomas: User) -> Hands:
    hands = Hands(page)
    open_visit(page, hands, "Okereke-Dahl")
    ask(page, hands)
    hands.press("/", "l", "Enter", "Control+Enter")  # lighter
    hands.press("/", "s", "Enter", "Control+Enter")  # skin sound
    hands.press("Enter")  # the services of the day before
    hands.figures("40")
    hands.press("Enter")
    hands.figures("10")
    expect(page.locator("#units")).to_contain_text("3 units")
    hands.press("Control+Enter", "/", "w", "Enter", "Control+Enter")  # well tolerated
    hands.press("7")
    expect(page.locator("#adherence")).to_contain_text("Kept")
    hands.press("Control+Enter", "/", "g", "Enter")  # go on
    sign(page, hands, tomas)
    return hands


def meet_a_red_flag(page: Page, tomas: User) -> Hands:
    hands = Hands(page)
    open_visit(page, hands, "Ekwueme-Lindqvist")
    expect(page.locator("#red_flag")).to_contain_text("Sudden increase")
    ask(page, hands)
    hands.say("Arm tight since the weekend, no fever.")
    hands.press("Control+Enter", "/", "t", "Enter")  # today's taping
    for _ in range(4):  # past treatment, response and home programme
        hands.press("Control+Enter")
    expect(page.locator("#plan")).to_be_focused()
    hands.say("Referrer phoned, seen there this afternoon. No treatment until then.")
    hands.press("Control+Enter")
    hands.say("Phoned the referrer, who sees her today.")
    hands.press("Enter")
    expect(page.locator("#red_flag")).to_contain_text("Acknowledged")
    expect(page.locator("#go-sign")).to_be_focused()
    hands.press("Enter")
    put_the_name(page, hands, tomas)
    return hands


def test_three_visits_are_charted_by_keyboard_and_signed(
    page: Page, tomas: User, sign_in: Callable[[User], None]
) -> None:
    sign_in(tomas)
    counted = {
        "evaluation": evaluate(page, tomas),
        "ninth day": treat(page, tomas),
        "red flag": meet_a_red_flag(page, tomas),
    }
    for visit, hands in counted.items():
        print(hands.told(visit))
    evaluation, ninth = signed_note("new_today"), signed_note("ninth_day")
    flagged = signed_note("sudden_rise")
    assert [row.service.code for row in evaluation.treatments.all()] == ["EVAL"]
    assert [row.minutes for row in ninth.treatments.all()] == [40, 10]
    assert flagged.red_flags.get().action == "Phoned the referrer, who sees her today."
    for visit, most in MOST_KEYS.items():
        assert counted[visit].keys <= most, counted[visit].told(visit)

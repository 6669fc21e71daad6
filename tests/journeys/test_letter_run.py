"""The letters of a month, in the browser: compiled, read, one edited and approved, then to send."""

from collections.abc import Callable
from io import BytesIO

import pytest
from playwright.sync_api import Locator, Page, expect
from procrastinate.contrib.django import app as jobs
from procrastinate.contrib.django.models import ProcrastinateJob
from pypdf import PdfReader

from clinic.accounts.models import User
from clinic.letters.models import ProgressLetter, RunLetter
from clinic.letters.runs.words import RowState
from clinic.letters.selectors import stored_pdf
from tests.builders import make_protocol, make_referrer
from tests.cast import Cast
from tests.clinic.letters.months import MONTH, seen_in_month
from tests.clinic.letters.stories import make_practice

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

OWN_WORDS = "Better: the arm is lighter and she types again. No action needed from you."


def month_of_three(cast: Cast) -> None:
    make_practice()
    referrer, protocol = make_referrer(), make_protocol()
    for family, fallen_cm in (("Okafor", 0.8), ("Larch", 0.0), ("Brandt", -0.8)):
        seen_in_month(
            cast.therapist,
            referrer,
            protocol=protocol,
            fallen_cm=fallen_cm,
            family_name=family,
        )


def work() -> None:
    """Every job that waits, as the worker does it."""
    for job in ProcrastinateJob.objects.filter(queue_name="letters", status="todo"):
        jobs.tasks[job.task_name](**job.args)


def place(page: Page) -> Locator:
    return page.get_by_role("navigation", name="Letters to review")


def read(page: Page) -> str:
    """The client whose letter is open."""
    heading = page.get_by_role("heading", level=1, name="Dr. Odile Farrow").inner_text()
    return next(name for name in ("Okafor", "Larch", "Brandt") if name in heading)


def test_the_lead_compiles_reads_and_sends_a_month(
    cast: Cast,
    page: Page,
    sign_in: Callable[[User], None],
    accessible: Callable[[], None],
) -> None:
    month_of_three(cast)
    sign_in(cast.lead)
    page.goto("/letters/runs/")
    page.get_by_label("Month").select_option(MONTH.isoformat())
    page.get_by_role("button", name="Compile the letters").click()
    expect(page.get_by_text("0 of 3 letters compiled")).to_be_visible()

    # The page follows the worker by itself.
    work()
    expect(page.locator(".lede")).to_have_text(
        "3 owed: 0 approved, 3 to review, 0 held, 0 skipped."
    )
    accessible()

    # What is worse comes first; it is edited, and approved once the printed letter shows it.
    page.get_by_role("link", name="Review r").click()
    expect(place(page)).to_contain_text("1 of 3")
    approved = read(page)
    assert approved == "Brandt"
    expect(page.locator("#letter-preview .sheet-line")).to_contain_text("Worse: ")
    page.locator("#id_bottom_line").fill(OWN_WORDS)
    page.locator("#id_bottom_line").blur()
    expect(page.locator("#letter-preview .sheet-line")).to_have_text(OWN_WORDS)
    accessible()
    page.get_by_role("button", name="Approve, then next").click()
    expect(place(page)).to_contain_text("1 approved")

    # The next is held; to skip the last a reason is asked for.
    held = read(page)
    page.get_by_label("Why (to skip").fill("The scan first.")
    page.get_by_role("button", name="Hold").click()
    expect(place(page)).to_contain_text("1 held")
    skipped = read(page)
    page.get_by_role("button", name="Skip this month").click()
    expect(page.locator("#id_note")).to_have_attribute("aria-invalid", "true")
    page.get_by_label("Why (to skip").fill("Told by phone.")
    page.get_by_role("button", name="Skip this month").click()
    expect(place(page)).to_contain_text("1 skipped")
    assert read(page) == held  # what is held comes again at the end
    page.get_by_role("link", name=f"{MONTH:%B %Y}").click()
    expect(page.locator(".lede")).to_have_text(
        "3 owed: 1 approved, 0 to review, 1 held, 1 skipped."
    )

    page.get_by_role("link", name="Send the approved").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Letters to send")
    expect(page.locator("main")).to_contain_text("1 approved letter waits")
    expect(page.locator("main table")).to_contain_text(approved)
    accessible()

    assert_a_reason_is_asked_for_below_its_row(page)
    accessible()

    assert states() == {
        approved: RowState.COMPILED,
        held: RowState.HELD,
        skipped: RowState.SKIPPED,
    }
    (letter,) = ProgressLetter.objects.filter(approved_at__isnull=False)
    assert letter.approved_by == cast.lead
    (printed,) = PdfReader(BytesIO(stored_pdf(letter))).pages
    assert OWN_WORDS in " ".join(printed.extract_text().split())


def assert_a_reason_is_asked_for_below_its_row(page: Page) -> None:
    """Below, not inside: else field, choice and button no longer stand in line."""
    page.get_by_text("They went out before").click()
    noted = page.get_by_role("button", name="Note the ticked as sent")
    noted.click()
    why = page.get_by_label("Why, in a few words")
    expect(why).to_have_accessible_description("Say why, in a few words.")
    assert bottom_px(why) == pytest.approx(bottom_px(noted), abs=2)


def bottom_px(part: Locator) -> float:
    box = part.bounding_box()
    assert box is not None
    return box["y"] + box["height"]


def states() -> dict[str, str]:
    return dict(RunLetter.objects.values_list("episode__client__family_name", "state"))

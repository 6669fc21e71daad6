"""The whole job once, as a therapist does it: from registering a client to the letter's PDF."""

import re
from collections.abc import Callable
from io import BytesIO

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from clinic.accounts.models import User
from clinic.clients.models import Episode
from measurements.models import GirthSession
from tests.builders import ARM_LEVELS_CM, ARM_OTHER_CM, ARM_SWOLLEN_CM, make_referrer
from tests.cast import Cast

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

NUMBER = r"[\d,.]+"


def register(page: Page) -> None:
    page.keyboard.press("n")
    page.get_by_label("Given name").first.fill("Rosalind")
    page.get_by_label("Family name").first.fill("Ægisdóttir")
    page.get_by_label("Date of birth").first.fill("1961-03-04")
    page.get_by_label("Sex", exact=False).first.select_option("female")
    page.get_by_label("Referrer").first.select_option(index=1)
    page.get_by_role("button", name="Register").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Rosalind Ægisdóttir")


def open_episode(page: Page, therapist: User) -> None:
    page.get_by_role("link", name="Open an episode").click()
    row = page.get_by_role("group", name="Region 1")
    row.get_by_role("combobox", name="Region").select_option("arm")
    row.get_by_role("combobox", name="Side").select_option("right")
    page.get_by_label("Cause").select_option("cancer_treatment")
    page.get_by_label("ICD-10-CM diagnosis").select_option("I97.2")
    page.get_by_label("Therapist").select_option(label=therapist.display_name)
    page.get_by_label("First phase").select_option("intensive")
    page.get_by_label("Why this phase").fill("Swelling for six weeks, pits on pressure")
    page.get_by_role("button", name="Open episode").click()
    expect(page.get_by_role("heading", name="Right arm")).to_be_visible()


def tape_by_keyboard(page: Page, affected_cm: list[float], other_cm: list[float]) -> None:
    """Numbers and Enter alone: down the first limb, over to the other, on to the weight."""
    page.get_by_role("link", name="Tape girths").click()
    page.wait_for_selector("input[inputmode=decimal]:focus")
    for girth_cm in [*affected_cm, *other_cm]:
        page.keyboard.type(f"{girth_cm}")
        page.keyboard.press("Enter")
    page.keyboard.type("70.4")
    expect(page.get_by_text("20.0").first).to_be_visible()  # live, before anything is recorded
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    # A swollen wrist lies outside the usual range: asked, and confirmed with the space bar.
    page.get_by_label(re.compile("taped twice", re.I)).first.focus()
    page.keyboard.press("Space")
    page.get_by_role("button", name="Record session").focus()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/girths/[0-9a-f-]{36}/$"))


def test_from_the_first_call_to_the_letter(
    page: Page, cast: Cast, sign_in: Callable[[User], None]
) -> None:
    make_referrer()
    sign_in(cast.therapist)
    register(page)
    open_episode(page, cast.therapist)

    tape_by_keyboard(page, ARM_SWOLLEN_CM, ARM_OTHER_CM)
    # Reference worked examples arm-4cm-affected, -unaffected and -comparison (tests/published).
    session_text = page.inner_text("main").replace("\N{NARROW NO-BREAK SPACE}", " ")
    assert "2,217 mL" in session_text
    assert "1,848 mL" in session_text
    assert "369 mL" in session_text
    assert "20.0 %" in session_text

    session = GirthSession.objects.get()
    assert session.is_baseline
    assert session.readings.count() == 2 * len(ARM_LEVELS_CM)

    page.goto(f"/episodes/{session.episode_id}/course/")
    page.wait_for_selector(".js-plotly-plot .main-svg")
    assert page.locator("a[data-title*='cloud' i], a[data-title*='edit' i]").count() == 0

    page.goto(f"/episodes/{session.episode_id}/letters/new/")
    page.get_by_role("button", name="Compile draft").click()
    page.get_by_label("Plan").fill("Five visits a week for two weeks, then a fitting.")
    page.get_by_role("button", name="Save and go to approval").click()
    page.get_by_role("button", name="Approve and keep").click()
    address = page.get_by_role("link", name=re.compile("PDF")).first.get_attribute("href")
    pdf = page.request.get(address or "").body()
    said = PdfReader(BytesIO(pdf)).pages[0].extract_text()
    said = said.replace("\N{NARROW NO-BREAK SPACE}", " ")
    for words in ("Rosalind Ægisdóttir", "369 mL", "2,217 mL", "Five visits a week"):
        assert words in said
    assert Episode.objects.get().letters.get().is_approved

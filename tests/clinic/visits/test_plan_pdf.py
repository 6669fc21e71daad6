"""The printed plan, read back with two PDF libraries that did not write it."""

import io
import re
from decimal import Decimal

import pytest
from pdfminer.high_level import extract_text
from pypdf import PdfReader

from clinic.accounts.models import PaperSize
from clinic.visits.plan_errors import PlanTooLong
from clinic.visits.plan_pdf import plan_pdf
from clinic.visits.plan_typed import MOST_GOALS
from clinic.visits.plans import Goal, PlanOfCare
from clinic.visits.selectors.plan_sheets import digest_of, sheet_of
from clinic.visits.services.plans import sign_plan
from tests.cast import Cast
from tests.clinic.visits.plan_stories import (
    arm_episode,
    draft,
    excess_goal,
    make_practice,
    signed,
    told_goal,
)

pytestmark = pytest.mark.django_db

MM = 72 / 25.4  # PDF units a millimetre


@pytest.fixture(autouse=True)
def _practice(db: None) -> None:
    make_practice()


def printed(plan: PlanOfCare) -> bytes:
    return plan_pdf(sheet_of(PlanOfCare.objects.get(pk=plan.pk)))


def read(content: bytes) -> str:
    """The text in reading order with plain spaces and no line ends."""
    return re.sub(r"\s+", " ", extract_text(io.BytesIO(content)))


def test_the_page_says_what_the_plan_says(cast: Cast) -> None:
    plan = signed(arm_episode(cast.therapist))
    text = read(printed(plan))
    for said in (
        "Tidewater Lymphedema Practice",
        "Fax 555 0101",
        "Marguerite Ångström",
        "born 4 Mar 1961",
        "referred by Dr. Odile Farrow",
        f"Plan of care 1, {plan.from_on:%-d %b %Y} to {plan.to_on:%-d %b %Y}",
        "I97.2 Postmastectomy lymphedema syndrome",
        "right arm (swollen)",
        plan.treatment,
        "5 visits a week for 4 weeks",
        "1.1 Arm excess under 10 %",
        "18.0 %",
        "10.0 %",
        "Judged by the therapist",
        "Signed electronically by Theo Marsh, PT, DPT",
        "I approve the plan for the period from",
        "Signature of physician or other certifying practitioner",
        "Name and credentials in print",
        "page 1 of 1",
    ):
        assert said in text, said
    assert "Draft" not in text


def test_the_pdf_is_one_tagged_titled_page_in_its_language(cast: Cast) -> None:
    reader = PdfReader(io.BytesIO(printed(signed(arm_episode(cast.therapist)))))
    root = reader.trailer["/Root"]
    assert len(reader.pages) == 1
    assert root["/MarkInfo"]["/Marked"]
    assert root["/StructTreeRoot"]["/K"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title.startswith("Plan of care 1, record T0")
    assert b"pdfuaid" in root["/Metadata"].get_data()


def test_the_structure_has_headings_and_a_table_with_headers(cast: Cast) -> None:
    reader = PdfReader(io.BytesIO(printed(signed(arm_episode(cast.therapist)))))
    found: set[str] = set()

    def walk(element: object) -> None:
        element = element.get_object()
        if isinstance(element, list):
            for each in element:
                walk(each)
        elif isinstance(element, dict):
            found.add(str(element.get("/S")))
            walk(element.get("/K", []))

    walk(reader.trailer["/Root"]["/StructTreeRoot"]["/K"])
    assert {"/H1", "/H2", "/Table", "/TH", "/TD"} <= found


def test_a_draft_says_that_it_is_one(cast: Cast) -> None:
    text = read(printed(draft(arm_episode(cast.therapist))))
    assert "Draft: not signed, not to be certified" in text
    assert "Not signed yet." in text


def test_a_signed_plan_prints_as_it_was_signed_whatever_the_record_says_later(cast: Cast) -> None:
    plan = signed(arm_episode(cast.therapist))
    before = read(printed(plan))
    client = plan.episode.client
    client.family_name = "Otherwise"
    client.save()
    make_practice(name="Another name", fax="555 9999")
    assert read(printed(plan)) == before


@pytest.mark.parametrize(
    ("paper", "width_mm", "height_mm"), [(PaperSize.A4, 210, 297), (PaperSize.LETTER, 215.9, 279.4)]
)
def test_the_paper_is_that_of_the_practice(
    cast: Cast, paper: PaperSize, width_mm: float, height_mm: float
) -> None:
    make_practice(paper_size=paper)
    reader = PdfReader(io.BytesIO(printed(signed(arm_episode(cast.therapist)))))
    box = reader.pages[0].mediabox
    assert float(box.width) == pytest.approx(width_mm * MM, abs=1)
    assert float(box.height) == pytest.approx(height_mm * MM, abs=1)


def test_a_full_plan_still_fits_on_the_page(cast: Cast) -> None:
    goal = excess_goal(text="Arm excess so far down that the sleeve fits at work. " * 2)
    plan = draft(
        arm_episode(cast.therapist),
        goals=(goal,) * MOST_GOALS,
        treatment="Drainage by hand, bandages in layers, exercise in bandages, skin care. " * 8,
    )
    sign_plan(plan=plan, seen=digest_of(plan), by=cast.therapist)
    assert len(PdfReader(io.BytesIO(printed(plan))).pages) == 1


def test_a_plan_that_needs_two_pages_is_not_signed(cast: Cast) -> None:
    longest = Goal._meta.get_field("text").max_length
    plan = draft(
        arm_episode(cast.therapist),
        goals=(told_goal(text=("Wider " * 60)[:longest]),) * MOST_GOALS,
        treatment="a\n" * 999,
    )
    with pytest.raises(PlanTooLong) as told:
        sign_plan(plan=plan, seen=digest_of(plan), by=cast.therapist)
    assert told.value.pages > 1
    plan.refresh_from_db()
    assert plan.signed_at is None


def test_a_goal_without_numbers_prints_none(cast: Cast) -> None:
    goal = told_goal(target=Decimal(5))
    text = read(printed(draft(arm_episode(cast.therapist), goals=(goal,))))
    assert "– 5" in text

"""The handout: the right side, three pages, plain words, no family name, on both papers."""

import io
import re
import statistics
from dataclasses import replace
from datetime import date
from functools import cache

import pytest
from pypdf import PdfReader

from clinic.accounts.models import PaperSize
from clinic.common.vocabulary import Phase, Precaution, Region, Side
from programmes import texts
from programmes.body.errors import NoSafeRoute
from programmes.body.planner import plan
from programmes.body.precautions import EFFECTS
from programmes.body.situation import Situation
from programmes.handout import (
    Handout,
    People,
    Rest,
    regions_of,
    sections_of,
    short_name,
    texts_read,
)
from programmes.packing import LAYOUTS, MOST_PAGES, USUAL_PAGES, packed
from programmes.pdf import handout_pdf
from programmes.presets import EXERCISES
from programmes.typeset import Face, Measure, Run, last_line
from tests.programmes.body.cases import SCENARIOS, one_arm, one_leg, situation_of
from tests.programmes.body.reading import grade

# Flesch-Kincaid grade (source in `body/reading.py`); own bound: grade 6 or below.
GRADE = 6.0
# An arm and a leg at once: more steps than three pages hold in 14 pt type.
LONG = ("both_", "crossed_", "all_four")


def handout_for(situation: Situation, paper: PaperSize = PaperSize.LETTER) -> Handout:
    """A sheet as a new draft makes it, with the default texts and three exercises."""
    made = plan(situation)
    regions = [one.region for one in situation.affected]
    people = People(
        client=short_name("Marguerite", "Ångström"),
        therapist="Theo Marsh, PT, DPT",
        practice="Tidewater Lymphedema Practice",
        phone="555 0100",
        given_on=date(2026, 3, 4),
        paper_size=paper,
    )
    suits = "arm" if {Region.ARM, Region.BREAST} & set(regions) else "leg"
    exercises = [
        {"name": name, "position": position, "how": how, "dose": dose}
        for name, position, how, dose, suited in EXERCISES
        if suited == suits
    ]
    rest = Rest(
        times_a_day=1,
        skin_care=texts.SKIN_CARE,
        wear_schedule=texts.wear_schedule(regions, Phase.MAINTENANCE),
        breathing=texts.BREATHING,
        stop_and_call=texts.STOP_AND_CALL,
        measures_at_home=True,
        exercises=tuple(exercises[:3]),
    )
    skipped = (*(one.plain for one in made.left_out), *made.client_notes)
    return Handout(
        people=people,
        regions=regions_of(situation.affected),
        minutes=round(made.minutes),
        sections=sections_of(made.steps),
        skipped=tuple(dict.fromkeys(skipped)),
        rest=rest,
    )


def _situations() -> dict[str, Situation]:
    """Every scenario of the map that has a plan, with and without somebody to help."""
    found = {}
    for scenario in SCENARIOS:
        for helper in (False, True):
            situation = situation_of(scenario, helper=helper)
            try:
                plan(situation)
            except NoSafeRoute:
                continue
            found[f"{scenario['id']}{'_helped' if helper else ''}"] = situation
    return found


SITUATIONS = _situations()
# Printing takes seconds: one of each kind of body, the papers in turn; all others are foretold.
KINDS = (
    "arm_L_axilla_L",
    "arm_L_axilla_L_helped",
    "breast_L_axilla_L",
    "leg_R_groin_R_helped",
    "legs_both_groins",
    "arms_both_axillae",
    "genital_both_groins",
    "head_neck_both",
    "crossed_L_helped",
    "arm_L_axilla_L_no_neck",
)
PRINTED = [(name, list(PaperSize)[at % 2]) for at, name in enumerate(KINDS)]


@cache
def read(name: str, paper: PaperSize) -> PdfReader:
    return PdfReader(io.BytesIO(handout_pdf(handout_for(SITUATIONS[name], paper))))


def text_of(reader: PdfReader) -> str:
    return " ".join(page.extract_text() for page in reader.pages).replace("\xa0", " ")


def flat(text: str) -> str:
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize(("name", "paper"), PRINTED)
def test_a_handout_has_one_to_three_pages(name: str, paper: PaperSize) -> None:
    reader, most = read(name, paper), MOST_PAGES if name.startswith(LONG) else USUAL_PAGES
    assert 1 <= len(reader.pages) <= most
    # ISO 216 A4, 210 by 297 mm; letter, 8.5 by 11 inches; in points.
    expected = (595.3, 841.9) if paper is PaperSize.A4 else (612.0, 792.0)
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(expected, abs=0.5)


@pytest.mark.parametrize("paper", PaperSize)
@pytest.mark.parametrize("name", SITUATIONS)
def test_every_situation_is_foretold_to_fit(name: str, paper: PaperSize) -> None:
    most = MOST_PAGES if name.startswith(LONG) else USUAL_PAGES
    assert packed(handout_for(SITUATIONS[name], paper)).pages <= most


@pytest.mark.parametrize(("name", "paper"), PRINTED)
def test_the_foretold_pages_and_every_step_are_printed(name: str, paper: PaperSize) -> None:
    sheet, reader = handout_for(SITUATIONS[name], paper), read(name, paper)
    assert len(reader.pages) == packed(sheet).pages
    text = flat(text_of(reader))
    for section in sheet.sections:
        for card in section.cards:
            assert f"{card.number} {card.title}" in text


@pytest.mark.parametrize("side", Side)
def test_the_words_are_those_of_the_right_side(side: Side) -> None:
    for situation in (one_arm(side), one_leg(side)):
        text = flat(text_of(PdfReader(io.BytesIO(handout_pdf(handout_for(situation))))))
        limb = "arm" if situation.affected[0].region is Region.ARM else "leg"
        assert f"For your {side.label} {limb}" in text
        assert f"hole {side.label} {limb}" in text
        assert f"hole {side.other.label} {limb}" not in text


def swapped(text: str) -> str:
    return text.replace("left", "\0").replace("right", "left").replace("\0", "right")


def test_the_left_sheet_is_the_right_sheet_with_the_sides_swapped() -> None:
    for make in (one_arm, one_leg):
        left, right = (
            list(texts_read(handout_for(make(side)))) for side in (Side.LEFT, Side.RIGHT)
        )
        assert [swapped(line) for line in left] == right


def test_no_family_name_and_no_birthday_are_printed() -> None:
    text = text_of(read("arm_L_axilla_L", PaperSize.LETTER))
    assert "Marguerite Å." in text
    assert "ngström" not in text
    assert "555 0100" in text
    assert "Theo Marsh, PT, DPT" in text
    assert "4 Mar 2026" in text


def test_the_pdf_is_tagged_titled_and_in_english() -> None:
    reader = read("arm_L_axilla_L", PaperSize.A4)
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert "/StructTreeRoot" in root
    assert b"pdfuaid" in root["/Metadata"].get_object().get_data()
    assert reader.metadata is not None
    assert reader.metadata.title == "Home programme, 4 Mar 2026"


def test_every_drawing_has_words_for_a_screen_reader() -> None:
    said = _figures(read("arm_L_axilla_L", PaperSize.A4))
    assert len(said) >= 28
    assert all(said)


def _figures(reader: PdfReader) -> list[str | None]:
    found: list[str | None] = []
    waiting = [reader.trailer["/Root"]["/StructTreeRoot"]]
    while waiting:
        node = waiting.pop().get_object()
        if isinstance(node, dict):
            if node.get("/S") == "/Figure":
                found.append(node.get("/Alt"))
            if "/K" in node:
                waiting.append(node["/K"])
        elif isinstance(node, list):
            waiting.extend(node)
    return found


def type_sizes(reader: PdfReader) -> list[float]:
    """The size of each piece of text in points, as it stands on the page."""
    sizes: list[float] = []

    def seen(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        if text.strip():
            sizes.append(abs(size * tm[3] * cm[3]))

    for page in reader.pages:
        page.extract_text(visitor_text=seen)
    return sizes


def test_the_body_type_is_fourteen_point() -> None:
    sizes = type_sizes(read("arm_L_axilla_L", PaperSize.LETTER))
    assert statistics.median(sizes) >= 13.9


@pytest.mark.parametrize("name", SITUATIONS)
def test_a_handout_reads_at_grade_six_or_below(name: str) -> None:
    lines = [
        line if line.endswith(".") else f"{line}."
        for line in texts_read(handout_for(SITUATIONS[name]))
    ]
    assert grade(" ".join(lines)) <= GRADE


@pytest.mark.parametrize(
    "text",
    [
        texts.SKIN_CARE,
        texts.BREATHING,
        texts.WEAR_BANDAGE,
        texts.WEAR_NONE,
        texts.WEAR_BY_DAY.format(garment="sleeve"),
        texts.STOP_AND_CALL,
        texts.UNWELL,
        texts.MEASURE,
        " ".join(f"{position} {how} {dose}" for _, position, how, dose, _ in EXERCISES),
    ],
)
def test_every_default_text_reads_at_grade_six_or_below(text: str) -> None:
    assert grade(text.replace("\n", " ")) <= GRADE


def test_the_signs_to_stop_for_are_all_named() -> None:
    # Care page 2.5: redness, heat, fever; pain or tight swelling; chest pain, breathlessness,
    # coughing blood, one-sided weakness; lump, leak, wound; dizziness, palpitations; belly pain,
    # bleeding; numb, cold, blue or white; feeling unwell.
    said = f"{texts.STOP_AND_CALL} {texts.EMERGENCY} {texts.UNWELL}".lower()
    for sign in (
        "red", "hot", "fever", "chills", "hurts", "swells", "chest", "breathe", "blood", "weak",
        "lump", "leak", "sore", "dizzy", "heart", "belly", "bleed", "numb", "cold", "blue", "white",
        "feel ill",
    ):  # fmt: skip
        assert sign in said, sign


@pytest.mark.parametrize(
    "precaution",
    [Precaution.OVERACTIVE_THYROID, Precaution.ABDOMINAL_SURGERY, Precaution.PREGNANCY],
)
def test_a_local_precaution_is_told_on_the_handout(precaution: Precaution) -> None:
    sheet = handout_for(one_arm(precautions=frozenset({precaution})))
    text = flat(text_of(PdfReader(io.BytesIO(handout_pdf(sheet)))))
    assert EFFECTS[precaution].plain in text


def test_a_bandage_or_a_garment_is_told_by_the_phase() -> None:
    assert "wraps on day and night" in texts.wear_schedule([Region.ARM], Phase.INTENSIVE)
    assert "sleeve on in the morning" in texts.wear_schedule([Region.ARM], Phase.MAINTENANCE)
    assert texts.wear_schedule([Region.LEG], Phase.SURVEILLANCE) == texts.WEAR_NONE
    assert "sleeve and padded bra" in texts.wear_schedule(
        [Region.ARM, Region.BREAST], Phase.MAINTENANCE
    )


def test_a_step_done_before_refers_to_it_and_a_treated_armpit_never_does() -> None:
    cards = [card for section in handout_for(one_arm(Side.LEFT)).sections for card in section.cards]
    by_number = {card.number: card for card in cards}
    assert by_number[24].echoes == 4
    assert by_number[24].title == by_number[4].title == "Right armpit"
    treated = next(card for card in cards if card.title == "Left armpit")
    assert treated.echoes is None
    assert "We send no fluid here" in treated.why


def test_a_drawing_names_the_side_of_its_step() -> None:
    for side in Side:
        for section in handout_for(one_arm(side)).sections:
            for card in section.cards:
                title = re.search(r"<title>([^<]+)", card.drawings[0])
                assert title is not None
                if re.search(r"\b(left|right)\b", card.title.lower()):
                    named = re.search(r"\b(left|right)\b", card.title.lower())
                    assert named is not None
                    assert named.group() in title.group(1).lower()


def test_a_very_long_note_is_refused_only_when_no_layout_holds_it() -> None:
    sheet = handout_for(one_arm())
    long = replace(sheet.sections[0].cards[0], note="Softly, please. " * 10)
    noted = replace(sheet.sections[0], cards=(long, *sheet.sections[0].cards[1:]))
    sheet = replace(sheet, sections=(noted, *sheet.sections[1:]))
    assert packed(sheet).pages <= USUAL_PAGES


def test_columns_are_read_down_left_then_right_and_lose_no_step() -> None:
    for situation in SITUATIONS.values():
        sheet = packed(handout_for(situation))
        numbers = [
            piece.card.number
            for spread in sheet.spreads
            for column in spread.columns
            for piece in column
            if piece.card
        ]
        assert numbers == list(range(1, len(numbers) + 1))


def test_no_heading_stands_last_in_a_column() -> None:
    for situation in SITUATIONS.values():
        for spread in packed(handout_for(situation)).spreads:
            assert all(column[-1].card for column in spread.columns if column)


def test_the_layouts_run_from_roomy_to_dense() -> None:
    sizes = [layout.picture_mm for layout in LAYOUTS]
    assert sizes == sorted(sizes, reverse=True)


def test_lines_are_counted_as_a_narrow_column_breaks_them() -> None:
    # Ten wide words, one to a line where only one fits, all on one line where all fit.
    words = Run("MMMMM " * 10, Face.BOLD)
    assert last_line([words], Measure(25.0)) == 10
    assert last_line([words], Measure(1000.0)) == 1
    beside = Measure(1000.0, narrow_mm=25.0, narrow_lines=4)
    assert last_line([words], beside) == 5


@pytest.mark.parametrize(
    ("regions", "named"),
    [
        ("arm_L_axilla_L", "your left arm"),
        ("arms_both_axillae", "both arms"),
        ("legs_both_groins", "both legs"),
        ("genital_both_groins", "private parts"),
        ("crossed_L", "your left arm and right leg"),
    ],
)
def test_the_sheet_names_the_region_as_a_client_does(regions: str, named: str) -> None:
    assert named in handout_for(SITUATIONS[regions]).for_words

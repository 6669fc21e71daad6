"""The printed letter, read back with two PDF libraries that did not write it."""

import io
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from pdfminer.high_level import extract_pages, extract_text
from pdfminer.layout import LTTextContainer
from pypdf import PdfReader

from clinic.accounts.models import PaperSize
from clinic.common import print as press
from clinic.common.print import NotPrinted, PrintFault
from clinic.letters import pdf
from clinic.letters.errors import LetterTooLong
from clinic.letters.kinds import LetterKind
from clinic.letters.models import ProgressLetter
from clinic.letters.sentences import sentence
from clinic.letters.services import compile_letter, draft_sheet, final_sheet
from clinic.letters.sheet import TEXT_FIELDS, Sheet, Texts
from clinic.letters.sheet import sheet as made_of
from measurements.selectors.reports import episode_course
from tests.builders import today
from tests.cast import Cast
from tests.clinic.letters import care_stories
from tests.clinic.letters.stories import STORIES, better, days_ago, make_practice

ROOT = Path(__file__).parents[3]
MM = 72 / 25.4  # PDF units a millimetre

LIMITS = {name: ProgressLetter._meta.get_field(name).max_length for name in TEXT_FIELDS}


def sheet_of(story: str, cast: Cast) -> Sheet:
    episode = STORIES[story](cast.therapist)
    letter = compile_letter(
        episode=episode, period_from=days_ago(90), period_to=today(), by=cast.therapist
    )
    return final_sheet(letter, cast.therapist)


def read(content: bytes) -> str:
    """The text in reading order with plain spaces and no line ends."""
    return re.sub(r"\s+", " ", extract_text(io.BytesIO(content)))


@pytest.mark.parametrize("story", STORIES)
def test_every_story_prints_on_one_page(story: str, cast: Cast) -> None:
    make_practice()
    assert len(PdfReader(io.BytesIO(pdf.letter_pdf(sheet_of(story, cast)))).pages) == 1


def test_the_pdf_is_tagged_titled_and_names_its_language(cast: Cast) -> None:
    reader = PdfReader(io.BytesIO(pdf.letter_pdf(sheet_of("better", cast))))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/StructTreeRoot"]["/K"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title.startswith("Progress letter, record T0")
    assert b"pdfuaid" in root["/Metadata"].get_data()


def test_the_structure_has_a_heading_a_table_with_headers_and_a_described_chart(
    cast: Cast,
) -> None:
    reader = PdfReader(io.BytesIO(pdf.letter_pdf(sheet_of("better", cast))))
    found: list[tuple[str, str]] = []

    def walk(element: object) -> None:
        element = element.get_object()
        if isinstance(element, list):
            for each in element:
                walk(each)
        elif isinstance(element, dict):
            found.append((str(element.get("/S")), str(element.get("/Alt", ""))))
            walk(element.get("/K", []))

    walk(reader.trailer["/Root"]["/StructTreeRoot"]["/K"])
    kinds = {kind for kind, _ in found}
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/Figure"} <= kinds
    assert any(
        kind == "/Figure" and alt.startswith("Excess volume of the right arm")
        for kind, alt in found
    )


def test_the_letter_says_what_the_record_says(cast: Cast) -> None:
    make_practice()
    sheet = sheet_of("better", cast)
    text = read(pdf.letter_pdf(sheet))
    course = episode_course(cast.therapist.episodes.get())[0]
    now, baseline = course.points[-1], course.points[0]
    for volume_ml in (
        now.right.volume_ml,
        now.left.volume_ml,
        baseline.right.volume_ml,
        now.excess_ml,
        baseline.excess_ml,
    ):
        assert f"{volume_ml:,.0f} mL" in text
    assert f"{now.percent:.1f} %" in text
    assert f"\N{MINUS SIGN}{baseline.excess_ml - now.excess_ml:.0f} mL" in text
    for said in (
        "Marguerite Ångström",
        "born 4 Mar 1961",
        "Dr. Odile Farrow",
        "Harbour Cancer Centre",
        "Tidewater Lymphedema Practice",
        "I97.2",
        "Mar 2024 full node removal, right armpit (17 nodes, 3 positive), right mastectomy",
        "Jun 2024 radiation, right chest wall",
        "stage II",
        "Theo Marsh, PT, DPT",
        "the hand is not included",
        "A change within measurement error is not reported as change",
        "do not replace it",
        "page 1 of 1",
    ):
        assert said in text, said


def test_the_letter_does_not_report_a_change_within_error(cast: Cast) -> None:
    text = read(pdf.letter_pdf(sheet_of("unchanged", cast)))
    assert "no change within ±" in text
    assert "lower" not in text
    assert "higher" not in text


def test_both_sides_affected_print_no_excess(cast: Cast) -> None:
    text = read(pdf.letter_pdf(sheet_of("bilateral", cast)))
    assert "Both legs are affected" in text
    assert "Excess" not in text
    assert "92.0 kg" in text


def test_an_absolute_precaution_prints_the_box(cast: Cast) -> None:
    make_practice()
    text = read(pdf.letter_pdf(sheet_of("much_treated", cast)))
    assert "Urgent: this does not wait for a letter. Please phone us: 555 0100." in text
    assert "untreated infection, cellulitis or fever" in text


def test_a_draft_says_that_it_is_one(cast: Cast) -> None:
    episode = better(cast.therapist)
    letter = compile_letter(
        episode=episode, period_from=days_ago(90), period_to=today(), by=cast.therapist
    )
    draft = read(pdf.letter_pdf(draft_sheet(letter, cast.therapist)))
    assert "Draft: not approved, not to be sent" in draft
    assert "not approved" not in read(pdf.letter_pdf(final_sheet(letter, cast.therapist)))


@pytest.mark.parametrize(
    "word", ["Interdisciplinarity ", "Donaudampfschifffahrtsgesellschaft", "W"]
)
def test_texts_of_full_length_print_on_one_page_or_say_what_to_shorten(
    word: str, cast: Cast
) -> None:
    full = Texts(**{name: (word * limit)[:limit] for name, limit in LIMITS.items()})
    sheet = replace(sheet_of("better", cast), texts=full)
    said = ""
    try:
        pages = PdfReader(io.BytesIO(pdf.letter_pdf(sheet))).pages
    except LetterTooLong as error:
        said, pages = sentence(error), []
    assert len(pages) == 1 or "Shorten treatment given or plan" in said


def test_two_limbs_since_the_last_letter_print_on_one_page_without_their_charts(
    cast: Cast,
) -> None:
    make_practice(paper_size=PaperSize.LETTER)
    sheet = sheet_of("arm_and_leg", cast)
    with_charts = read(pdf.letter_pdf(sheet))
    assert "Excess volume of the right arm, mL" in with_charts
    limbs = tuple(replace(each, last=each.points[1]) for each in sheet.summary.limbs)
    later = made_of(replace(sheet.summary, limbs=limbs), sheet.texts, is_draft=False)
    content = pdf.letter_pdf(later)
    assert len(PdfReader(io.BytesIO(content)).pages) == 1
    text = read(content)
    assert "since last letter" in text
    assert "mL; bars" not in text


def test_line_breaks_that_fill_a_second_page_are_named(cast: Cast) -> None:
    texts = Texts(bottom_line="Same.", plan="a\n" * 299)
    with pytest.raises(LetterTooLong) as raised:
        pdf.letter_pdf(replace(sheet_of("better", cast), texts=texts))
    said = sentence(raised.value)
    assert said.startswith("The letter runs to ")
    assert "Shorten plan" in said
    assert "draft is kept" in said


@pytest.mark.parametrize(
    ("paper", "width_mm", "height_mm"), [(PaperSize.A4, 210, 297), (PaperSize.LETTER, 215.9, 279.4)]
)
def test_the_paper_is_that_of_the_practice(
    paper: PaperSize, width_mm: float, height_mm: float, cast: Cast
) -> None:
    make_practice(paper_size=paper)
    box = PdfReader(io.BytesIO(pdf.letter_pdf(sheet_of("better", cast)))).pages[0].mediabox
    assert float(box.width) == pytest.approx(width_mm * MM, abs=1)
    assert float(box.height) == pytest.approx(height_mm * MM, abs=1)


def test_only_the_address_stands_where_an_envelope_window_shows(cast: Cast) -> None:
    # US number 10 window over a letter folded in thirds, and the address field of DIN 5008 form B:
    # both show the stretch from 62.7 to 80 mm below the upper edge; from memory, not re-read.
    page = next(iter(extract_pages(io.BytesIO(pdf.letter_pdf(sheet_of("better", cast))))))
    lines = [line for box in page if isinstance(box, LTTextContainer) for line in box]
    shown = " ".join(line.get_text() for line in lines if 50 < (page.height - line.y0) / MM < 85)
    assert "Odile Farrow" in shown
    assert "Saltmere" in shown
    assert "Ångström" not in shown
    assert "arm" not in shown


def test_nothing_is_fetched_but_the_packaged_fonts() -> None:
    for address in ("https://example.org/a.css", "file:///etc/passwd", "packagedfont:../x"):
        with pytest.raises(ValueError, match="not a file of a printed sheet"):
            press.listed_files_only(address)
    assert press.listed_files_only("packagedfont:SourceSerifPro-Regular.otf").read(4) == b"OTTO"


def test_the_fonts_in_the_pdf_are_the_packaged_ones(cast: Cast) -> None:
    page = PdfReader(io.BytesIO(pdf.letter_pdf(sheet_of("better", cast)))).pages[0]
    fonts = {str(font.get_object()["/BaseFont"]) for font in page["/Resources"]["/Font"].values()}
    assert fonts
    # Named by the style sheet, which knows no font but the two packaged families.
    assert all(name.split("+")[1].startswith(("Reading", "Working")) for name in fonts), fonts


def test_a_failing_library_is_told_apart_from_our_own_faults(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = sheet_of("better", cast)

    def fails(*_args: object, **_named: object) -> None:
        raise MemoryError("pango")

    monkeypatch.setattr(press.weasyprint, "HTML", fails)
    with pytest.raises(NotPrinted) as raised:
        pdf.letter_pdf(sheet)
    assert raised.value.fault is PrintFault.FAILED
    assert "The draft is kept" in sentence(raised.value)


def test_without_pango_the_app_starts_and_says_what_to_install() -> None:
    program = (
        "import builtins, sys\n"
        "real = builtins.__import__\n"
        "def refuse(name, *rest, **named):\n"
        "    if name == 'weasyprint': raise OSError('cannot load library libpango-1.0-0')\n"
        "    return real(name, *rest, **named)\n"
        "builtins.__import__ = refuse\n"
        "import os; os.environ['DJANGO_SETTINGS_MODULE'] = 'clinic.settings'\n"
        "import django; django.setup()\n"
        "from clinic.common.print import NotPrinted, can_print, press_for\n"
        "from clinic.letters import sentences, urls\n"
        "assert urls.urlpatterns and not can_print()\n"
        "try: press_for('A4', ())\n"
        "except NotPrinted as error: print(sentences.sentence(error))\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert "install Pango (on Debian: apt install libpango-1.0-0" in ran.stdout, ran.stderr


# Reports and discharge summaries


def test_a_report_and_a_summary_print_tagged_with_their_numbers(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_practice()
    episode = care_stories.discharged(cast.therapist, monkeypatch, (33, 5))
    said = {
        LetterKind.REPORT: ("for the payer and the certifying physician", care_stories.NEED, "110"),
        LetterKind.DISCHARGE: ("Self-care plan", "sleeve (class 2)", care_stories.ENDED, "80 min"),
    }
    for kind, words in said.items():
        letter = care_stories.paper(episode, kind)
        letter.skilled_need = care_stories.NEED
        content = pdf.letter_pdf(final_sheet(letter, cast.therapist))
        reader, text = PdfReader(io.BytesIO(content)), read(content)
        assert len(reader.pages) == 1
        assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
        assert reader.metadata.title.startswith(kind.titled)
        # Two visits of 40 minutes of 97140 and 15 of 97535: 80 and 30 minutes, 110 in all.
        for word in (*words, kind.titled, "1.1 Arm excess under 10", "± 2.", "error 11.8"):
            assert word in text, (kind, word)


def test_a_long_report_takes_two_pages_and_a_longer_one_says_what_to_shorten(cast: Cast) -> None:
    letter = care_stories.paper(better(cast.therapist), LetterKind.REPORT)
    sheet = final_sheet(letter, cast.therapist)
    two = Texts(bottom_line="Same.", skilled_need="a\n" * 60)
    assert len(PdfReader(io.BytesIO(pdf.letter_pdf(replace(sheet, texts=two)))).pages) == 2
    with pytest.raises(LetterTooLong) as raised:
        pdf.letter_pdf(replace(sheet, texts=Texts(bottom_line="Same.", plan="a\n" * 299)))
    told = sentence(raised.value)
    assert told.startswith("The report runs to ")
    assert "must fit on two. Shorten plan" in told

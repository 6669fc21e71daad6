"""The printed batch, read back with two PDF libraries, and the ZIP."""

import csv
import zipfile
from io import BytesIO, StringIO
from types import SimpleNamespace

import pytest
from django.utils import timezone
from pdfminer.high_level import extract_pages, extract_text
from pdfminer.layout import LTTextContainer, LTTextLine
from pypdf import PdfReader

from clinic.accounts.models import PaperSize
from clinic.clients.models import Referrer
from clinic.letters.address import address_style
from clinic.letters.models import ProgressLetter
from clinic.letters.pdf import letter_pdf
from clinic.letters.selectors import stored_pdf
from clinic.letters.sending.batch_pdf import batch_pdf
from clinic.letters.sending.models import Batch
from clinic.letters.sending.selectors import bytes_of_letters, sendings_of
from clinic.letters.sending.services import is_standing, put_back
from clinic.letters.sending.ways import Decision, Output
from clinic.letters.sending.windows import DIN_5008_B, REACH_MM, US_10, WINDOWS, Window
from clinic.letters.sending.zip_file import batch_zip
from clinic.letters.services import compile_letter, final_sheet
from tests.builders import make_referrer, today
from tests.cast import Cast
from tests.clinic.letters.sending.approved import SAID, batch_of, letter_on, page_saying
from tests.clinic.letters.stories import better, days_ago, make_practice

MM = 72 / 25.4  # PDF units a millimetre


def printed(batch: Batch, cast: Cast) -> bytes:
    rows = sendings_of(batch, cast.front_desk)
    return batch_pdf(batch, rows, bytes_of_letters(rows))


def texts(pdf: bytes) -> list[str]:
    """The text of each page with plain spaces."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(pdf)).pages]


def place_of(pdf: bytes, *, page: int, starts: str, lines: int) -> Window:
    """Where lines of text stand on a page, from its left and upper edge in mm, by pdfminer."""
    layout = list(extract_pages(BytesIO(pdf)))[page]
    found = [
        line
        for box in layout
        if isinstance(box, LTTextContainer)
        for line in box
        if isinstance(line, LTTextLine)
    ]
    first = next(line for line in found if line.get_text().startswith(starts))
    near = sorted(
        (line for line in found if line.y1 <= first.y1 and abs(line.x0 - first.x0) < 3),
        key=lambda line: -line.y1,
    )[:lines]
    return Window(
        left_mm=min(line.x0 for line in near) / MM,
        top_mm=(layout.height - max(line.y1 for line in near)) / MM,
        right_mm=max(line.x1 for line in near) / MM,
        bottom_mm=(layout.height - min(line.y0 for line in near)) / MM,
    )


def test_the_windows_are_where_the_envelopes_have_them() -> None:
    """Worked by hand from the measures named in the module; from memory, not re-read.

    DIN 5008 form B: 45 + 17.7 = 62.7 mm, 62.7 + 27.3 = 90 mm. US 10: a third of 11 inches less
    1/2 inch is 3 1/6 inches = 80.4 mm; with the sheet slid up by 4 1/8 - 3 2/3 = 11/24 inches the
    upper edge shows from 3 1/6 - 1 1/8 + 11/24 = 2 1/2 inches = 63.5 mm.
    """
    assert (DIN_5008_B.top_mm, DIN_5008_B.bottom_mm) == pytest.approx((62.7, 90.0))
    assert (DIN_5008_B.left_mm, DIN_5008_B.right_mm) == pytest.approx((20.0, 105.0))
    assert (US_10.top_mm, US_10.bottom_mm) == pytest.approx((63.5, 80.43), abs=0.01)
    assert (US_10.left_mm, US_10.right_mm) == pytest.approx((22.2, 111.1), abs=0.05)
    assert pytest.approx({"A4": 95.0, "letter": 92.075}) == REACH_MM  # 110 - 15; 3 5/8 inches


@pytest.mark.parametrize("paper", list(PaperSize))
def test_the_address_shows_in_the_window_on_letter_and_address_sheet(
    cast: Cast, paper: PaperSize
) -> None:
    make_practice(paper_size=paper)
    real = final_sheet(
        compile_letter(
            episode=better(cast.therapist),
            period_from=days_ago(90),
            period_to=today(),
            by=cast.therapist,
        ),
        cast.therapist,
    )
    window, own = WINDOWS[paper], letter_pdf(real)
    said = place_of(own, page=0, starts="Better: ", lines=1)
    assert said.top_mm >= REACH_MM[paper]  # no window shows what the letter says
    assert window.holds(place_of(own, page=0, starts="Dr. Odile Farrow", lines=4))
    letter = letter_on("Bly", make_referrer(), cast.therapist)
    pdf = printed(batch_of(letter, by=cast.front_desk, address_sheets=True), cast)
    assert window.holds(place_of(pdf, page=1, starts="Dr. Odile Farrow", lines=4))


LONG = {
    "organisation": "DEPARTMENT OF BREAST SURGERY AND ONCOLOGY, HARBOUR CANCER CENTRE",
    "town": "Zwaanshoek, NY 10001",
}
LONGER = LONG | {
    "street": "Memorial Building, Third Floor, Room 3120, 4 Quay Road at Lower Mill Street"
}


@pytest.mark.parametrize("paper", list(PaperSize))
@pytest.mark.parametrize("lines", [LONG, LONGER])
def test_an_address_with_long_lines_shows_in_the_window_down_to_the_town(
    cast: Cast, paper: PaperSize, lines: dict[str, str]
) -> None:
    make_practice(paper_size=paper)
    episode = better(cast.therapist)
    Referrer.objects.update(**lines)
    episode.refresh_from_db()
    draft = compile_letter(
        episode=episode, period_from=days_ago(90), period_to=today(), by=cast.therapist
    )
    own = letter_pdf(final_sheet(draft, cast.therapist))
    letter = letter_on("Bly", make_referrer(**lines), cast.therapist)
    sheet = printed(batch_of(letter, by=cast.front_desk, address_sheets=True), cast)
    for pdf, page in ((own, 0), (sheet, 1)):
        for starts in ("Dr. Odile Farrow", lines["town"]):
            assert WINDOWS[paper].holds(place_of(pdf, page=page, starts=starts, lines=1)), starts


def test_type_shrinks_with_the_lines_of_an_address() -> None:
    name, wide = "Dr. Odile Farrow", "m" * 30 + " " + "m" * 30
    assert address_style([name, "Centre", "4 Quay Road", "Saltmere"]) == ""
    assert address_style([name, wide, "4 Quay Road", "Saltmere"]) == "address-close"
    assert address_style([name, wide, wide, "Saltmere"]) == "address-compact"
    assert address_style([wide * 9] * 4) == "address-compact"


def test_pages_come_as_cover_then_envelopes_in_posting_order_then_faxes(cast: Cast) -> None:
    make_practice()
    zoe = make_referrer(family_name="Zoll", given_name="Ada")
    fax = make_referrer(family_name="Aaron", given_name="Finn", delivery="fax", fax="555 0199")
    told = [("Fry", fax), ("Young", zoe), ("Eck", zoe)]
    letters = [letter_on(name, referrer, cast.therapist) for name, referrer in told]
    pages = texts(printed(batch_of(*letters, by=cast.front_desk), cast))
    assert len(pages) == 5
    assert "3 letters in 2 envelopes or faxes, 4 pages" in pages[0]
    assert pages[1:3] == [f"Eck: {SAID}", f"Young: {SAID}"]
    assert "555 0199" in pages[3]
    assert "If it reached you by mistake" in pages[3]
    assert "Fry" not in pages[3]
    assert pages[4] == f"Fry: {SAID}"
    assert SAID not in pages[0]


def test_on_two_sides_no_letter_is_printed_on_the_back_of_another(cast: Cast) -> None:
    make_practice()
    zoe, amy = make_referrer(family_name="Zoll"), make_referrer(family_name="Abel")
    told = [("Eck", zoe, 1), ("Young", zoe, 2), ("Dunn", amy, 3)]
    letters = [
        letter_on(name, to, cast.therapist, pdf=page_saying(*[name] * count))
        for name, to, count in told
    ]
    pages = texts(printed(batch_of(*letters, by=cast.front_desk, two_sided=True), cast))
    assert pages[1:] == ["", "Dunn", "Dunn", "Dunn", "", "Eck", "", "Young", "Young"]


def test_on_two_sides_nothing_to_be_faxed_is_printed_on_a_back(cast: Cast) -> None:
    """A fax machine may read one side only: the second page of a summary would not go."""
    make_practice()
    fax = make_referrer(delivery="fax", fax="555 0199")
    letter = letter_on("Fry", fax, cast.therapist, pdf=page_saying("first", "second"))
    pages = texts(printed(batch_of(letter, by=cast.front_desk, two_sided=True), cast))
    assert pages[1] == pages[3] == ""
    assert "3, this one counted" in pages[2]
    assert pages[4:] == ["first", "", "second", ""]


def test_the_cover_list_has_the_numbers_of_the_batchs_page_after_one_was_put_back(
    cast: Cast,
) -> None:
    make_practice()
    letters = [letter_on(name, make_referrer(), cast.therapist) for name in ("Bly", "Crewe")]
    batch = batch_of(*letters, by=cast.front_desk)
    first = batch.sendings.get(place=1)
    put_back(batch=batch, sending_ids={first.pk}, reason="jammed", by=cast.front_desk)
    rows = [row for row in sendings_of(batch, cast.front_desk) if is_standing(row)]
    cover = texts(batch_pdf(batch, rows, bytes_of_letters(rows)))[0]
    assert f"2. {rows[0].letter.episode.client}" in cover
    assert "1 letter in 1 envelope" in cover


def test_a_referrer_who_moved_gets_an_address_sheet_before_the_unchanged_letter(
    cast: Cast,
) -> None:
    make_practice()
    letter = letter_on("Bly", make_referrer(), cast.therapist)
    letter.referrer.street = "9 New Street"
    letter.referrer.save()
    batch = batch_of(letter, by=cast.front_desk, decisions={letter.pk: Decision.PRESENT})
    pages = texts(printed(batch, cast))
    assert "9 New Street" in pages[1]
    assert pages[2] == f"Bly: {SAID}"


def test_identical_objects_of_letters_are_kept_once(cast: Cast) -> None:
    make_practice()
    referrer = make_referrer()
    same = page_saying(*["the same words " * 300] * 2)
    letters = [letter_on(f"Bly {n}", referrer, cast.therapist, pdf=same) for n in range(6)]
    pdf = printed(batch_of(*letters, by=cast.front_desk), cast)
    alone = printed(batch_of(letter_on("Z", referrer, cast.therapist), by=cast.front_desk), cast)
    assert len(pdf) - len(alone) < 2 * len(same)


def test_a_real_letter_keeps_every_word_in_the_batch(cast: Cast) -> None:
    make_practice()
    episode = better(cast.therapist)
    draft = compile_letter(
        episode=episode, period_from=days_ago(90), period_to=today(), by=cast.therapist
    )
    own = letter_pdf(final_sheet(draft, cast.therapist))
    letter = letter_on("Bly", make_referrer(), cast.therapist, pdf=own)
    pdf = printed(batch_of(letter, by=cast.front_desk), cast)
    assert extract_text(BytesIO(pdf), page_numbers=[1]) == extract_text(BytesIO(own))


def test_the_zip_has_the_very_bytes_under_neutral_names(cast: Cast) -> None:
    referrer = make_referrer()
    letters = [letter_on(name, referrer, cast.therapist) for name in ("Bly", "Crewe")]
    batch = batch_of(*letters, by=cast.therapist, output=Output.ZIP)
    rows = sendings_of(batch, cast.therapist)
    file = zipfile.ZipFile(BytesIO(batch_zip(rows, bytes_of_letters(rows))))
    names = [name for name in file.namelist() if name != "index.csv"]
    yesterday = timezone.localdate(letters[0].approved_at)
    assert names == [f"letter-{yesterday}-{each.pk.hex[:12]}.pdf" for each in letters]
    assert [file.read(name) for name in names] == [stored_pdf(each) for each in letters]
    index = file.read("index.csv").decode("utf-8-sig")
    listed = list(csv.DictReader(StringIO(index)))
    assert [row["sha256"] for row in listed] == [each.pdf_sha256 for each in letters]
    for hidden in ("Bly", "Crewe", "Marguerite", SAID, letters[0].episode.client.record_number):
        assert hidden not in index


def test_an_addressee_is_no_formula_in_the_index() -> None:
    letter = ProgressLetter(approved_at=timezone.now())
    row = SimpleNamespace(letter=letter, letter_id=letter.pk, addressee="=1+1\nSaltmere")
    file = zipfile.ZipFile(BytesIO(batch_zip([row], {letter.pk: b"%PDF"})))
    listed = list(csv.reader(StringIO(file.read("index.csv").decode("utf-8-sig"))))
    assert listed[1][2] == "'=1+1, Saltmere"

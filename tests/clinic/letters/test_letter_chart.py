"""The small chart: its numbers are written as in the table beside it, and nothing is cut off."""

import io
from dataclasses import replace

from django.template.loader import render_to_string
from pdfminer.high_level import extract_pages
from pdfminer.layout import LTTextContainer

from clinic.common.vocabulary import Limb
from clinic.letters import pdf
from clinic.letters.sheet import Sheet, Texts, sheet
from clinic.letters.summary import LimbNumbers, Measured
from tests.clinic.letters.test_wording import arm, summary

MM = 72 / 25.4  # PDF units a millimetre
RIGHT_MARGIN_MM = 20


def sheet_of(numbers: LimbNumbers) -> Sheet:
    return sheet(summary(numbers), Texts(bottom_line="Same."), is_draft=False)


def test_the_numbers_of_the_chart_are_written_as_in_the_table() -> None:
    drawn = render_to_string("letters/_charts.html", {"sheet": sheet_of(arm(-2.4, 2400))})
    assert ">now \N{MINUS SIGN}2<" in drawn
    assert ">2,000<" in drawn
    assert ">-" not in drawn


def test_the_names_at_the_end_of_the_lines_are_not_cut_off() -> None:
    def big(numbers: LimbNumbers, now_ml: float) -> LimbNumbers:
        now = replace(numbers.now, left=Measured(now_ml, 200), right=Measured(now_ml, 200))
        points = (*numbers.points[:-1], now)
        both = {"affected_side": None, "is_bilateral": True, "limb": Limb.LEG}
        return replace(numbers, now=now, points=points, **both)

    content = pdf.letter_pdf(sheet_of(big(arm(0, 0), 12345.0)))
    page = next(iter(extract_pages(io.BytesIO(content))))
    lines = [line for box in page if isinstance(box, LTTextContainer) for line in box]
    names = [line for line in lines if line.get_text().strip() in {"left 12,345", "right 12,345"}]
    assert len(names) == 2
    assert all(line.x1 < page.width - RIGHT_MARGIN_MM * MM for line in names)

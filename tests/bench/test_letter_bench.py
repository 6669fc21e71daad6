"""A letter against bare WeasyPrint on the same HTML in the same process."""

from collections.abc import Callable
from statistics import median
from time import process_time

import pytest
import weasyprint

from clinic.common.print import listed_files_only
from clinic.letters import pdf, services
from tests.builders import today
from tests.cast import Cast
from tests.clinic.letters.stories import better, days_ago, make_practice

ROUNDS = 5
MOST_TIMES_BARE = 1.5  # own bound


def seconds(work: Callable[[], object]) -> float:
    started = process_time()
    work()
    return process_time() - started


@pytest.mark.bench
def test_a_letter_takes_at_most_half_again_what_bare_weasyprint_takes(cast: Cast) -> None:
    make_practice()
    letter = services.compile_letter(
        episode=better(cast.therapist),
        period_from=days_ago(90),
        period_to=today(),
        by=cast.therapist,
    )
    sheet = services.final_sheet(letter, cast.therapist)
    html = pdf.letter_html(sheet)
    styles = pdf.press_for(pdf.PaperSize.LETTER).styles

    def bare() -> bytes:
        document = weasyprint.HTML(string=html, url_fetcher=listed_files_only)
        content = document.write_pdf(stylesheets=styles, pdf_variant="pdf/ua-1")
        assert content
        return content

    bare(), pdf.letter_pdf(sheet)  # fonts are loaded once
    pairs = [(seconds(lambda: pdf.letter_pdf(sheet)), seconds(bare)) for _ in range(ROUNDS)]
    ours, theirs = (median(each) for each in zip(*pairs, strict=True))
    print(f"letter {1000 * ours:.0f} ms, bare {1000 * theirs:.0f} ms, ratio {ours / theirs:.2f}")
    assert ours <= MOST_TIMES_BARE * theirs

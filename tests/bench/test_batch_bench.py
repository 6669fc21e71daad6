"""A printed batch against bare pypdf: the same letters appended and written, nothing compressed."""

from collections.abc import Callable
from io import BytesIO
from statistics import median
from time import process_time
from uuid import UUID

import pytest
from pypdf import PdfReader, PdfWriter

from clinic.letters import pdf, services
from clinic.letters.sending.batch_pdf import batch_pdf
from clinic.letters.sending.models import Batch
from clinic.letters.sending.selectors import sendings_of
from tests.builders import make_referrer, today
from tests.cast import Cast
from tests.clinic.letters.sending.approved import batch_of, letter_on
from tests.clinic.letters.stories import better, days_ago, make_practice

LETTERS = 200
DIFFERENT = 40  # printed letters; each of their bytes stands for five clients
ROUNDS = 3
# Finding what letters have alike costs more than appending them: 1.2 times on a busy machine. The
# file is worth it: 2 MB for 13.5 MB.
MOST_TIMES_BARE = 2
MOST_OF_SIZE = 0.8


def seconds(work: Callable[[], object]) -> float:
    started = process_time()
    work()
    return process_time() - started


def printed_letters(cast: Cast) -> list[bytes]:
    """Letters that differ in client, sentence and so in their subset fonts."""
    draft = services.compile_letter(
        episode=better(cast.therapist),
        period_from=days_ago(90),
        period_to=today(),
        by=cast.therapist,
    )
    sheet = services.final_sheet(draft, cast.therapist)
    html, press = pdf.letter_html(sheet), pdf.press_of(sheet)
    named = (chr(ord("A") + n % 26) + chr(ord("a") + n // 2) + "wxyz" for n in range(DIFFERENT))
    return [pdf.bytes_of(pdf.pages_of(html.replace("Ångström", name), press)) for name in named]


def bare(letters: dict[UUID, bytes]) -> bytes:
    writer, written = PdfWriter(), BytesIO()
    for content in letters.values():
        writer.append(PdfReader(BytesIO(content)), import_outline=False)
    writer.write(written)
    return written.getvalue()


@pytest.mark.bench
def test_a_batch_of_200_letters_is_merged_in_a_few_times_bare_pypdf(cast: Cast) -> None:
    make_practice()
    referrers = [make_referrer(family_name=f"Reader {n:02}") for n in range(20)]
    made = printed_letters(cast)
    rows = [
        letter_on(f"Client {n:03}", referrers[n % 20], cast.therapist, pdf=made[n % DIFFERENT])
        for n in range(LETTERS)
    ]
    batch: Batch = batch_of(*rows, by=cast.front_desk)
    sendings = sendings_of(batch, cast.front_desk)
    letters = {row.pk: bytes(row.pdf) for row in rows}
    ours_pdf, bare_pdf = batch_pdf(batch, sendings, letters), bare(letters)
    pairs = [
        (seconds(lambda: batch_pdf(batch, sendings, letters)), seconds(lambda: bare(letters)))
        for _ in range(ROUNDS)
    ]
    ours, theirs = (median(each) for each in zip(*pairs, strict=True))
    print(
        f"batch of {LETTERS}: {ours:.1f} s, bare {theirs:.1f} s, ratio {ours / theirs:.2f};"
        f" {len(ours_pdf) / 1e6:.1f} MB, bare {len(bare_pdf) / 1e6:.1f} MB"
    )
    assert ours <= MOST_TIMES_BARE * theirs
    assert len(ours_pdf) <= MOST_OF_SIZE * len(bare_pdf)

"""Letters of a run, compiled and rendered by workers on every core, against bare WeasyPrint.

The bare rate is measured in the same run: one process that lays out the same HTML with the same
style sheets and fonts and does nothing else.
"""

import os
import subprocess
import sys
from statistics import median
from time import perf_counter

import pytest
import weasyprint
from procrastinate.contrib.django.models import ProcrastinateWorker

from clinic.common.print import listed_files_only
from clinic.letters import pdf, services
from clinic.letters.crew import cores
from clinic.letters.runs.services import start_run
from clinic.letters.runs.words import RowState
from tests.builders import make_referrer
from tests.cast import make_cast
from tests.clinic.letters.months import MONTH, month_of
from tests.clinic.letters.stories import make_practice
from tests.clinic.letters.test_run_survives import wait_until, worker

LETTERS = int(os.environ.get("LETTERS_OF_THE_RUN", "200"))
LEAST_SHARE = 0.7  # own bound
BARE_ROUNDS = 12
PATIENCE_S = 3600


@pytest.mark.bench
@pytest.mark.django_db(transaction=True)
def test_a_run_reaches_seven_tenths_of_cores_times_bare_weasyprint() -> None:
    cast = make_cast()
    make_practice()
    month_of(LETTERS, cast.therapist, make_referrer())
    run = start_run(month=MONTH, by=cast.lead)
    row = run.rows.select_related("episode__client").first()
    begun = services.begin_letter(row.episode, (row.period_from, row.period_to), by=cast.lead)
    bare = bare_seconds(pdf.letter_html(services.begun_sheet(begun)))
    waiting = run.rows.filter(state=RowState.OWED)
    with worker():
        wait_until(lambda: ProcrastinateWorker.objects.count() == cores(), PATIENCE_S)
        started, left = perf_counter(), waiting.count()
        wait_until(lambda: not waiting.exists(), PATIENCE_S)
        taken = perf_counter() - started
    share = left / taken / (cores() / bare)
    print(
        f"{left} letters in {taken:.1f} s on {cores()} cores, bare {1000 * bare:.0f} ms each:"
        f" {share:.2f} of cores x bare rate"
    )
    assert share >= LEAST_SHARE


def bare_seconds(html: str) -> float:
    """Wall seconds of one letter, on every core at once as the run has it."""
    code = (
        "import django; django.setup();"
        "from tests.bench.test_letter_run_bench import bare_rounds; bare_rounds()"
    )
    running = [
        subprocess.Popen(
            [sys.executable, "-c", code],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"DJANGO_SETTINGS_MODULE": "clinic.settings"},
        )
        for _ in range(cores())
    ]
    for process in running:
        assert process.stdin
        process.stdin.write(html)
        process.stdin.close()
    return median(float(process.stdout.read()) for process in running if process.stdout)


def bare_rounds() -> None:
    """Print the median seconds of a letter, its HTML read from the input; fonts loaded before."""
    html, seconds = sys.stdin.read(), []
    styles = pdf.press_for("letter", pdf.STYLES).styles
    for _ in range(BARE_ROUNDS):
        started = perf_counter()
        document = weasyprint.HTML(string=html, url_fetcher=listed_files_only)
        assert document.write_pdf(stylesheets=styles, pdf_variant="pdf/ua-1")
        seconds.append(perf_counter() - started)
    sys.stdout.write(f"{median(seconds)}\n")

"""A worker killed in the middle of a run: after a restart every letter is there exactly once.

Real processes and a real SIGKILL. The first worker is caught inside a letter, held there by a lock
on its row, so that the kill always leaves half a letter and a job that nobody finishes.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

import psycopg
import pytest
from django.conf import settings
from django.db import connection
from procrastinate.contrib.django.models import ProcrastinateJob, ProcrastinateWorker

from clinic.audit.models import Entry
from clinic.letters.models import LetterRun, ProgressLetter
from clinic.letters.runs.services import start_run
from clinic.letters.runs.words import RowState
from tests.builders import make_referrer
from tests.cast import make_cast
from tests.clinic.letters.months import MONTH, month_of

ROOT = Path(__file__).parents[3]
PATIENCE_S = 120


def environment() -> dict[str, str]:
    """A clinic's own server on the database of this test."""
    used = connection.settings_dict
    host, port = quote(used["HOST"], safe=""), used["PORT"]
    return os.environ | {
        "DATABASE_URL": f"postgres://{used['USER']}@{host}:{port}/{used['NAME']}",
        "EBBLINE_SECRET_KEY": settings.SECRET_KEY,
        "EBBLINE_HOSTS": "127.0.0.1",
    }


@contextmanager
def worker(*arguments: str) -> Iterator[subprocess.Popen[bytes]]:
    """`manage.py work`, killed with all its processes at the end."""
    started = subprocess.Popen(
        [sys.executable, "manage.py", "work", *arguments],
        cwd=ROOT,
        env=environment(),
        start_new_session=True,
    )
    try:
        yield started
    finally:
        os.killpg(started.pid, signal.SIGKILL)
        started.wait()


def wait_until(is_so: Callable[[], bool], patience_s: float = PATIENCE_S) -> None:
    give_up_at = time.monotonic() + patience_s
    while not is_so():
        assert time.monotonic() < give_up_at
        time.sleep(0.1)


def compiled(run: LetterRun) -> int:
    return run.rows.filter(state=RowState.COMPILED).count()


@contextmanager
def last_row_held(run: LetterRun) -> Iterator[None]:
    """Somebody else holds the row that comes last; a worker that reaches it waits inside a job."""
    used, last = connection.settings_dict, ProcrastinateJob.objects.order_by("-pk")[0]
    held = psycopg.connect(
        host=used["HOST"], port=used["PORT"], user=used["USER"], dbname=used["NAME"]
    )
    with held, held.cursor() as cursor:
        cursor.execute(
            "SELECT 1 FROM letters_runletter WHERE id = %s FOR UPDATE", [last.args["row_id"]]
        )
        yield
        held.rollback()


def forget_the_dead() -> None:
    """As if the dead worker had been silent for a minute: the test need not wait for it."""
    with connection.cursor() as cursor:
        cursor.execute("UPDATE procrastinate_workers SET last_heartbeat = now() - interval '60 s'")


def killed_and_restarted(count: int, *arguments: str) -> LetterRun:
    """A run of `count` letters whose first worker is killed inside the last of them."""
    cast = make_cast()
    month_of(count, cast.therapist, make_referrer())
    run = start_run(month=MONTH, by=cast.lead)
    with last_row_held(run):
        with worker(*arguments):
            wait_until(lambda: compiled(run) == count - 1, PATIENCE_S + count)
            wait_until(lambda: ProcrastinateJob.objects.filter(status="doing").exists())
        assert ProcrastinateJob.objects.filter(status="doing").exists()
    forget_the_dead()
    with worker(*arguments):
        wait_until(lambda: compiled(run) == count, PATIENCE_S + count)
        wait_until(lambda: not ProcrastinateJob.objects.filter(args__has_key="row_id").exists())
    return run


def check_each_once(count: int) -> None:
    letters = list(ProgressLetter.objects.values_list("episode", flat=True))
    assert len(letters) == len(set(letters)) == count
    assert Entry.objects.filter(verb="letter.compiled").count() == count


@pytest.mark.django_db(transaction=True)
def test_a_killed_worker_leaves_each_letter_exactly_once_after_a_restart() -> None:
    killed_and_restarted(4, "--one")
    check_each_once(4)


@pytest.mark.bench
@pytest.mark.django_db(transaction=True)
def test_the_same_with_200_letters_on_every_core() -> None:
    killed_and_restarted(200)
    check_each_once(200)


@pytest.mark.django_db(transaction=True)
def test_workers_end_when_whoever_started_them_is_killed() -> None:
    """A worker signs off when it ends in order: a killed server leaves none behind."""
    with worker("--processes", "1") as crew:
        wait_until(ProcrastinateWorker.objects.exists)
        crew.kill()
        wait_until(lambda: not ProcrastinateWorker.objects.exists())

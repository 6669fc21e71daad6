"""`manage.py demo`, `one_time_password` and `add_staff`, as a person types them."""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic import trial_database
from clinic.accounts.models import User
from clinic.clients.models import Client
from clinic.common.vocabulary import Role
from clinic.demo import letters
from clinic.demo.management.commands import demo
from tests.builders import make_client
from tests.cast import PASSWORD, make_staff

ROOT = Path(__file__).parents[3]
ONE_TIME = re.compile(r"^  (\w+) +((?:[a-z2-9]{4}-){3}[a-z2-9]{4}) +", re.MULTILINE)
PATIENCE_S = 180


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """No letters: they are not looked at here."""
    monkeypatch.setattr(letters, "can_print", lambda: False)


def said(*command: str, **options: object) -> str:
    call_command(*command, stdout=(out := StringIO()), **options)
    return out.getvalue()


@pytest.mark.django_db
def test_the_printed_password_opens_the_app_exactly_once(quick: None) -> None:
    printed = dict(ONE_TIME.findall(said("demo", no_serve=True)))
    assert set(printed) == {"frida", "tomas", "amara", "leonie", "joss"}
    assert not User.objects.exclude(one_time_until=None).exists()  # a trial may lie for weeks
    browser = Browser()
    signing = {"username": "tomas", "password": printed["tomas"]}
    assert browser.post(reverse("sign-in"), signing).status_code == 302
    assert browser.get(reverse("today")).url == reverse("choose-password")
    chosen = {"password": PASSWORD, "again": PASSWORD}
    assert browser.post(reverse("choose-password"), chosen).url == reverse("today")
    assert browser.get(reverse("today")).status_code == 200
    again = Browser().post(reverse("sign-in"), signing)
    assert again.status_code == 200
    assert "_auth_user_id" not in again.client.session


@pytest.mark.django_db
def test_a_second_run_says_so_and_prints_no_password(quick: None) -> None:
    said("demo", no_serve=True)
    words = said("demo", no_serve=True)
    assert "there already; nothing was changed" in words
    assert "manage.py one_time_password NAME" in words
    assert "leonie" in words
    assert not ONE_TIME.findall(words)


@pytest.mark.django_db
def test_a_database_with_other_records_is_refused_untouched() -> None:
    make_client()
    with pytest.raises(CommandError, match="not the demo's, so nothing was changed"):
        said("demo", no_serve=True)
    assert Client.objects.count() == 1
    assert not User.objects.exists()


@pytest.mark.django_db
def test_a_clinics_own_database_is_refused_unless_one_knows(
    monkeypatch: pytest.MonkeyPatch, settings: object
) -> None:
    loads: list[object] = []
    monkeypatch.setattr(demo, "load", lambda today, say: loads.append(today) or [])
    settings.IS_TRIAL = False  # type: ignore[attr-defined]
    with pytest.raises(CommandError, match="a clinic's own database"):
        said("demo", no_serve=True)
    assert loads == []
    said("demo", no_serve=True, i_know=True)
    assert loads == [timezone.localdate()]


@pytest.mark.django_db
def test_a_busy_port_is_named_before_anything_is_done() -> None:
    with socket.socket() as busy:
        busy.bind(("127.0.0.1", 0))
        busy.listen()
        port = busy.getsockname()[1]
        with pytest.raises(CommandError, match=f"Port {port} is taken"):
            said("demo", port=port)
    assert not Client.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("port", [-1, 65_536])
def test_a_port_that_cannot_be_gets_a_sentence(port: int) -> None:
    with pytest.raises(CommandError, match=f"Port {port} is taken, or may not be used"):
        said("demo", port=port)


@pytest.mark.django_db
def test_a_new_one_time_password_replaces_the_old_one() -> None:
    make_staff("tilda", "Tilda Brook", Role.THERAPIST)
    words = said("one_time_password", "TILDA")
    password = words.split()[1]
    user = User.objects.get()
    assert user.check_password(password)
    assert not user.check_password(PASSWORD)
    assert user.must_choose_password


@pytest.mark.django_db
def test_an_unknown_name_is_answered_with_the_names_there_are() -> None:
    make_staff("tilda", "Tilda Brook", Role.THERAPIST)
    with pytest.raises(CommandError, match=r"Nobody signs in as nobody\. Sign-in names: tilda"):
        said("one_time_password", "nobody")


@pytest.mark.django_db
def test_an_account_that_is_switched_off_gets_no_password() -> None:
    user = make_staff("tilda", "Tilda Brook", Role.THERAPIST)
    user.is_active = False
    user.save()
    with pytest.raises(CommandError, match="switched off"):
        said("one_time_password", "tilda")


@pytest.mark.django_db
def test_the_first_account_of_a_real_clinic_is_made_from_the_command_line() -> None:
    words = said("add_staff", "lea", role="clinic_lead", display_name="Lea Holm")
    user = User.objects.get()
    assert (user.role, user.display_name) == (Role.CLINIC_LEAD, "Lea Holm")
    assert user.check_password(words.split()[1])


@pytest.mark.django_db
def test_a_sign_in_name_is_given_once() -> None:
    make_staff("tilda", "Tilda Brook", Role.THERAPIST)
    with pytest.raises(CommandError, match="Another account has this sign-in name"):
        said("add_staff", "Tilda", role="therapist")


@contextmanager
def demo_served(folder: Path, port: int) -> Iterator[subprocess.Popen[str]]:
    running = subprocess.Popen(
        [sys.executable, ROOT / "manage.py", "demo", "--port", str(port)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        cwd=ROOT,
        env={**os.environ, "EBBLINE_TRIAL_FOLDER": str(folder), "PYTHONUNBUFFERED": "1"},
    )
    try:
        yield running
    finally:
        running.kill()
        trial_database.stop(folder)
        shutil.rmtree(folder, ignore_errors=True)


@pytest.mark.skipif(not settings.IS_TRIAL, reason="starts a trial database of its own")
def test_the_demo_serves_pages_and_ctrl_c_stops_server_and_database() -> None:
    folder = Path("/var/tmp") / f"ebbline-demo-test-{os.getpid()}"
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with demo_served(folder, port) as running:
        lines = _read_until(running, f"http://127.0.0.1:{port}/")
        assert len(ONE_TIME.findall("".join(lines))) == 5
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=60) as page:
            assert "Sign in" in page.read().decode()
        running.send_signal(signal.SIGINT)
        rest, _ = running.communicate(timeout=60)
        assert running.returncode == 0, rest
        assert "Traceback" not in rest
        assert (folder / "data").is_dir()
        assert not (folder / "data" / "postmaster.pid").exists()


def _read_until(running: subprocess.Popen[str], words: str) -> list[str]:
    lines: list[str] = []
    until = time.monotonic() + PATIENCE_S
    assert running.stdout is not None
    for line in running.stdout:
        lines.append(line)
        if words in line:
            return lines
        assert time.monotonic() < until, lines
    raise AssertionError("".join(lines))

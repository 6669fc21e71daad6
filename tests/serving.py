"""The web server of a trial in processes of its own, on the database of the test that starts it."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from django.conf import settings
from django.db import connection

ROOT = Path(__file__).parents[1]
PATIENCE_S = 60
# As a clinic's own server names them.
SESSION_COOKIE, FORM_COOKIE = "__Host-ebbline", "__Host-ebbline_form"
SERVE = "from clinic.demo.serving import serve; serve({port}, when_ready=lambda: None)"


def free_port() -> int:
    with socket.socket() as tried:
        tried.bind(("127.0.0.1", 0))
        return int(tried.getsockname()[1])


def collect_files(folder: Path) -> None:
    """Gather the static files there, as a clinic's own server needs them to show a page."""
    command = [sys.executable, "manage.py", "collectstatic", "--no-input", "--verbosity", "0"]
    own = environment() | {"EBBLINE_STATIC_FOLDER": str(folder)}
    subprocess.run(command, cwd=ROOT, env=own, check=True)


def environment() -> dict[str, str]:
    """The same database and the same secret, so that a session of the test is one of the server."""
    used = connection.settings_dict
    host, port = quote(used["HOST"], safe=""), used["PORT"]
    address = f"postgres://{used['USER']}@{host}:{port}/{used['NAME']}"
    return os.environ | {
        "DATABASE_URL": address,
        "DJANGO_SETTINGS_MODULE": "clinic.settings",
        "EBBLINE_SECRET_KEY": settings.SECRET_KEY,
        "EBBLINE_HOSTS": "127.0.0.1",
        "EBBLINE_HTTPS_REDIRECT": "no",
        "EBBLINE_SECOND_FACTOR": "no",
    }


@contextmanager
def server(port: int, files: Path | None = None) -> Iterator[subprocess.Popen[bytes]]:
    """Up and answering; ends with SIGKILL for all its processes at once.

    Pages need the static files that were gathered in `files`; saves do without.
    """
    started = subprocess.Popen(
        [sys.executable, "-c", SERVE.format(port=port)],
        cwd=ROOT,
        env=environment() | ({"EBBLINE_STATIC_FOLDER": str(files)} if files else {}),
        start_new_session=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait_for(port, is_up=True)
        yield started
    finally:
        os.killpg(started.pid, signal.SIGKILL)
        started.wait()
        _wait_for(port, is_up=False)  # its workers die a moment later than itself


def _wait_for(port: int, *, is_up: bool) -> None:
    for _ in range(PATIENCE_S * 20):
        with socket.socket() as tried:
            if (tried.connect_ex(("127.0.0.1", port)) == 0) is is_up:
                return
        time.sleep(0.05)
    raise AssertionError("the server did not start" if is_up else "the server did not die")

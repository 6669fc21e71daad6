"""Clusters to try the trial's own server on, for real, each in a folder of its own.

Outside witnesses: PostgreSQL's answers through psycopg, the kernel (/proc, file modes, signals).
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest

from clinic import trial_database

IS_ROOT = os.geteuid() == 0
ROOT = Path(__file__).resolve().parents[3]
OTHER_USER = "daemon"  # an ordinary account of every Debian, neither root nor the server's
needs_root = pytest.mark.skipif(
    not IS_ROOT or shutil.which("setpriv") is None, reason="changes accounts: needs root, setpriv"
)
needs_linux = pytest.mark.skipif(not Path("/proc/net/unix").exists(), reason="reads /proc")


def make_parent(owner: str | None = None) -> Path:
    """A folder outside root's home, which the account that runs the server may write to."""
    parent = Path(tempfile.mkdtemp(prefix="trial-test-", dir="/var/tmp"))
    if IS_ROOT:
        shutil.chown(parent, owner or trial_database.UNPRIVILEGED)
    return parent


@contextmanager
def place_for_a_cluster() -> Iterator[Path]:
    folder = make_parent() / "trial"
    sockets = trial_database.socket_folder(folder)
    yield folder
    trial_database.stop(folder)
    shutil.rmtree(sockets, ignore_errors=True)
    shutil.rmtree(folder.parent)


def start(folder: Path) -> None:
    trial_database.ensure_running(folder, throwaway=True, stop_at_exit=False)


def ask(folder: Path, query: str, *, user: str | None = None) -> list[tuple]:
    settings = trial_database.connection(folder)
    with psycopg.connect(
        host=settings["HOST"],
        port=settings["PORT"],
        dbname=settings["NAME"],
        user=user or settings["USER"],
        autocommit=True,
        **settings["OPTIONS"],
    ) as connected:
        cursor = connected.execute(query)
        return cursor.fetchall() if cursor.description else []


def postmaster_pid(folder: Path) -> int:
    return int((folder / "data" / "postmaster.pid").read_text().splitlines()[0])


def in_another_process(code: str, *, user: str | None = None) -> subprocess.Popen[str]:
    """Run Python there, as another account where one is named."""
    become = ["setpriv", f"--reuid={user}", f"--regid={user}", "--clear-groups"] if user else []
    prologue = (
        f"import sys; sys.path.insert(0, {str(ROOT)!r})\n"
        "from pathlib import Path\nfrom clinic import trial_database\n"
    )
    return subprocess.Popen(
        [*become, sys.executable, "-B", "-c", prologue + code],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd="/",
    )


def start_code(folder: Path) -> str:
    return f"trial_database.ensure_running(Path({str(folder)!r}), throwaway=True)\n"


def wait_for_end(pid: int) -> None:
    give_up_at = time.monotonic() + 20
    while time.monotonic() < give_up_at:
        try:
            state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
        except (FileNotFoundError, ProcessLookupError):
            return
        if state == "Z":
            return
        time.sleep(0.01)
    pytest.fail(f"process {pid} did not end")

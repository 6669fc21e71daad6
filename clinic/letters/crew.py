"""The processes that compile letters: one a core, watched, started again when one dies.

Laying out a page keeps a core busy, and threads of one process share one: so processes.
"""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

from django.conf import settings

LOOK_EVERY_S = 0.5
# A process that dies at once is not started again at once.
REST_S = 5.0
STOP_WITHIN_S = 20.0


def cores() -> int:
    """The cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def started(*arguments: str) -> subprocess.Popen[bytes]:
    """`manage.py work` as a process of its own that ends with this one."""
    command = [sys.executable, str(Path(settings.BASE_DIR) / "manage.py"), "work", *arguments]
    return subprocess.Popen([*command, "--parent", str(os.getpid())])  # noqa: S603 - ours


def stop(process: "subprocess.Popen[bytes]") -> None:
    """Let it finish its letter; end it where that takes too long."""
    process.terminate()
    try:
        process.wait(STOP_WITHIN_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def watch_parent(parent: int, then: Callable[[], object]) -> None:
    """Call `then` once the parent is gone, even if it was killed."""

    def look() -> None:
        while os.getppid() == parent:
            time.sleep(LOOK_EVERY_S)
        then()

    threading.Thread(target=look, name="parent", daemon=True).start()


class Crew:
    """Keeps a number of workers at work until told to stop."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.members: list[subprocess.Popen[bytes]] = []
        self.told_to_stop = threading.Event()

    def run(self) -> None:
        signal.signal(signal.SIGTERM, lambda number, frame: self.told_to_stop.set())
        signal.signal(signal.SIGINT, lambda number, frame: self.told_to_stop.set())
        self.members = [started("--one") for _ in range(self.size)]
        while not self.told_to_stop.wait(LOOK_EVERY_S):
            self._replace_the_dead()
        for member in self.members:
            member.terminate()
        for member in self.members:
            stop(member)

    def _replace_the_dead(self) -> None:
        living = [member for member in self.members if member.poll() is None]
        if len(living) < self.size and not self.told_to_stop.wait(REST_S):
            living += [started("--one") for _ in range(self.size - len(living))]
        self.members = living

"""Whose process the trial's server belongs to: starters, users, kills and foreign numbers."""

import os
import shutil
import signal
import subprocess
from pathlib import Path

from clinic import trial_database
from tests.clinic.trial_database.clusters import (
    IS_ROOT,
    ask,
    in_another_process,
    needs_linux,
    postmaster_pid,
    start,
    start_code,
    wait_for_end,
)


def pid_files(folder: Path) -> dict[Path, str]:
    """The two files in which a live server notes its process number, and their texts."""
    lock = trial_database.socket_folder(folder) / ".s.PGSQL.5432.lock"
    return {path: path.read_text() for path in (folder / "data" / "postmaster.pid", lock)}


def leave_behind(files: dict[Path, str], pid: int) -> None:
    """Put the pid files back as a power cut leaves them, their number now somebody else's."""
    for path, text in files.items():
        if not path.parent.exists():
            path.parent.mkdir(mode=0o700)
            if IS_ROOT:
                shutil.chown(path.parent, trial_database.UNPRIVILEGED)
        path.write_text(text.replace(text.splitlines()[0], str(pid), 1))


def test_a_second_start_leaves_the_running_server_alone(running: Path) -> None:
    first = ask(running, "select pg_postmaster_start_time()")
    start(running)
    assert ask(running, "select pg_postmaster_start_time()") == first


@needs_linux
def test_the_next_start_recovers_after_the_server_was_killed(folder: Path) -> None:
    # Not as throwaway: there a commit may be lost for 0.6 s, which is what makes it fast.
    trial_database.ensure_running(folder, stop_at_exit=False)
    ask(folder, "create table kept as select 42 as answer")
    os.kill(killed := postmaster_pid(folder), signal.SIGKILL)
    wait_for_end(killed)
    start(folder)
    assert postmaster_pid(folder) != killed
    assert ask(folder, "select answer from kept") == [(42,)]


@needs_linux
def test_a_pid_file_that_names_a_foreign_live_process_is_set_aside(folder: Path) -> None:
    start(folder)
    left_behind = pid_files(folder)
    trial_database.stop(folder)
    account = {"user": trial_database.UNPRIVILEGED} if IS_ROOT else {}
    # Of the server's own account: any other the server would see through by itself.
    with subprocess.Popen(["sleep", "60"], **account) as foreign:
        leave_behind(left_behind, foreign.pid)
        try:
            start(folder)
            assert ask(folder, "select 1") == [(1,)]
            assert postmaster_pid(folder) != foreign.pid
            assert foreign.poll() is None
        finally:
            foreign.kill()


def test_stop_never_ends_a_foreign_process(folder: Path) -> None:
    start(folder)
    left_behind = pid_files(folder)
    trial_database.stop(folder)
    with subprocess.Popen(["sleep", "60"]) as foreign:
        leave_behind(left_behind, foreign.pid)
        try:
            trial_database.stop(folder)
            assert foreign.poll() is None
        finally:
            foreign.kill()


def test_two_starters_at_once_both_succeed(empty: Path) -> None:
    code = f"folder = Path({str(empty)!r})\n" + (
        "trial_database.ensure_running(folder, throwaway=True, stop_at_exit=False)\n"
        "print((folder / 'data' / 'postmaster.pid').read_text().splitlines()[0])\n"
    )
    starters = [in_another_process(code) for _ in range(2)]
    answers = [starter.communicate(timeout=60) for starter in starters]
    assert [starter.returncode for starter in starters] == [0, 0], answers
    assert {out.strip() for out, _ in answers} == {str(postmaster_pid(empty))}
    assert ask(empty, "select 1") == [(1,)]


@needs_linux
def test_the_server_stops_with_the_process_that_started_it(folder: Path) -> None:
    code = (
        start_code(folder) + f"print(open({str(folder / 'data' / 'postmaster.pid')!r}).readline())"
    )
    starter = in_another_process(code)
    out, err = starter.communicate(timeout=60)
    assert starter.returncode == 0, err
    wait_for_end(int(out))
    assert not (folder / "data" / "postmaster.pid").exists()


def test_a_user_of_a_running_server_leaves_it_running(running: Path) -> None:
    second = in_another_process(start_code(running))
    assert second.wait(timeout=60) == 0
    assert ask(running, "select 1") == [(1,)]


def test_a_forked_worker_does_not_stop_the_server(folder: Path) -> None:
    code = start_code(folder) + (
        "import os\n"
        "if os.fork() == 0: sys.exit(0)\n"
        "os.wait()\n"
        f"print(trial_database._is_ready(Path({str(folder)!r})))\n"
    )
    out, err = in_another_process(code).communicate(timeout=60)
    assert out.strip() == "True", err


def test_a_start_after_its_starter_was_killed_just_works(folder: Path) -> None:
    linger = "print('up', flush=True)\nimport signal; signal.pause()\n"
    starter = in_another_process(start_code(folder) + linger)
    assert starter.stdout is not None
    assert starter.stdout.readline().strip() == "up"
    starter.kill()
    starter.communicate()
    start(folder)
    assert ask(folder, "select 1") == [(1,)]

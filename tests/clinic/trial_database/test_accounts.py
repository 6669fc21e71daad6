"""Which accounts of the machine get at the trial's server, its folders and its log."""

import os
import pwd
import shutil
import tempfile
from pathlib import Path

import psycopg
import pytest

from clinic import trial_database
from clinic.trial_database import TrialDatabaseError
from tests.clinic.trial_database.clusters import (
    IS_ROOT,
    OTHER_USER,
    ask,
    in_another_process,
    make_parent,
    needs_linux,
    needs_root,
    postmaster_pid,
    start,
    start_code,
)


def test_both_folders_are_for_the_servers_account_alone(running: Path) -> None:
    account = pwd.getpwnam("nobody") if IS_ROOT else pwd.getpwuid(os.geteuid())
    for place in (running, running / "data", trial_database.socket_folder(running)):
        assert place.stat().st_mode & 0o777 == 0o700
        assert place.stat().st_uid == account.pw_uid


def test_no_folder_above_the_cluster_changes(empty: Path) -> None:
    above = [Path("/var/tmp"), Path("/tmp"), Path.home(), empty.parent]
    before = [(place.stat().st_uid, place.stat().st_mode) for place in above]
    start(empty)
    assert [(place.stat().st_uid, place.stat().st_mode) for place in above] == before


def test_a_socket_folder_open_to_others_is_refused(empty: Path) -> None:
    squatted = trial_database.socket_folder(empty)
    squatted.mkdir(mode=0o755)
    with pytest.raises(TrialDatabaseError, match=r"is not a folder of the user \S+ alone"):
        start(empty)
    with pytest.raises(TrialDatabaseError):
        trial_database.connection(empty)


def test_a_socket_folder_that_is_a_link_is_refused(empty: Path) -> None:
    squatted = trial_database.socket_folder(empty)
    squatted.symlink_to(empty.parent)
    try:
        with pytest.raises(TrialDatabaseError):
            trial_database.connection(empty)
    finally:
        squatted.unlink()


@needs_linux
def test_no_tcp_port_is_open(running: Path) -> None:
    opened = Path(f"/proc/{postmaster_pid(running)}/fd").iterdir()
    sockets = {os.readlink(handle)[8:-1] for handle in opened if "socket:" in os.readlink(handle)}
    tables = [Path("/proc/net/tcp"), Path("/proc/net/tcp6"), Path("/proc/net/udp")]
    lines = [line.split() for table in tables if table.exists() for line in table.open()]
    assert sockets, "the server has at least its local socket"
    assert not sockets & {line[9] for line in lines[1:] if len(line) > 9}


def test_the_log_never_quotes_what_a_row_holds(running: Path) -> None:
    ask(running, "create table client (name text primary key, born date)")
    ask(running, "insert into client values ('Quillfeather')")
    with pytest.raises(psycopg.errors.UniqueViolation):
        ask(running, "insert into client values ('Quillfeather')")
    with pytest.raises(psycopg.errors.InvalidDatetimeFormat):
        ask(running, "insert into client values ('x', 'Quillfeather')")
    with pytest.raises(psycopg.errors.RaiseException):
        ask(running, "do $$ begin raise exception 'Quillfeather'; end $$")
    assert "ready to accept connections" in (running / "server.log").read_text()
    assert "Quillfeather" not in (running / "server.log").read_text()


@needs_root
def test_root_is_let_in_as_the_app_but_not_as_superuser(running: Path) -> None:
    with pytest.raises(psycopg.OperationalError, match="Peer authentication failed"):
        ask(running, "select 1", user="postgres")


@needs_root
def test_another_account_of_the_machine_is_refused(running: Path) -> None:
    host = trial_database.socket_folder(running)
    connect = (
        f"import psycopg; psycopg.connect(host={str(host)!r}, dbname='ebbline', user='ebbline')"
    )
    refused = in_another_process(connect, user=OTHER_USER)
    _, said = refused.communicate(timeout=60)
    assert refused.returncode != 0
    assert "Permission denied" in said
    # And were the running ever opened, the server itself still asks who it is.
    host.chmod(0o755)
    (host / ".s.PGSQL.5432").chmod(0o777)
    refused = in_another_process(connect, user=OTHER_USER)
    _, said = refused.communicate(timeout=60)
    host.chmod(0o700)
    assert refused.returncode != 0
    assert "Peer authentication failed" in said


@needs_root
def test_an_ordinary_user_runs_a_cluster_of_their_own() -> None:
    parent = make_parent(OTHER_USER)
    folder = parent / "trial"
    code = start_code(folder) + (
        "import psycopg\n"
        f"of = trial_database.connection(Path({str(folder)!r}))\n"
        "db = psycopg.connect(host=of['HOST'], dbname='ebbline', user='ebbline', **of['OPTIONS'])\n"
        "print(*db.execute('select 6 * 7').fetchone(), of['HOST'])\n"
    )
    try:
        out, err = in_another_process(code, user=OTHER_USER).communicate(timeout=60)
        assert out.startswith("42 "), err
        assert folder.stat().st_uid == pwd.getpwnam(OTHER_USER).pw_uid
        assert not (folder / "data" / "postmaster.pid").exists()
        assert not Path(out.split()[1]).exists()
    finally:
        shutil.rmtree(parent)


@needs_root
def test_programs_the_servers_account_cannot_reach_are_copied_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with tempfile.TemporaryDirectory(dir="/var/tmp", prefix="trial-test-") as above:
        hidden, beside = Path(above) / "hidden", Path(above) / "beside"
        package = trial_database.binaries().parents[1]
        for part in (package, package.with_name(f"{package.name}.libs")):
            shutil.copytree(part, hidden / part.name, symlinks=True)
        hidden.chmod(0o700)
        Path(above).chmod(0o755)
        beside.mkdir()
        shutil.chown(beside, trial_database.UNPRIVILEGED)
        there = hidden / package.name / "pginstall" / "bin"
        monkeypatch.setattr(trial_database, "binaries", lambda: there)
        folder = beside / "trial"
        try:
            start(folder)
            assert ask(folder, "select 1") == [(1,)]
            running = Path(os.readlink(f"/proc/{postmaster_pid(folder)}/exe"))
            assert beside in running.parents
            start(folder)
            copies = list(beside.glob("trial-programs-*"))
            assert len(copies) == 1
            assert copies[0].stat().st_uid == 0
        finally:
            trial_database.stop(folder)


@needs_root
def test_root_is_told_what_to_do_where_the_servers_account_may_not_write(tmp_path: Path) -> None:
    tmp_path.chmod(0o700)
    with pytest.raises(TrialDatabaseError, match=r"nobody could not make the folder .* give it"):
        start(tmp_path / "trial")

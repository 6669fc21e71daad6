"""A drill: a clinic is backed up, restored into a second database, and is the same.

That it is the same is judged by PostgreSQL's own pg_dump, which knows nothing of our format.
"""

import os
import re
import resource
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection
from django.test import override_settings

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.audit.models import Entry
from clinic.clients.models import Client
from clinic.clients.services import next_record_number
from clinic.common.vocabulary import Role
from clinic.keeping import cipher, files
from clinic.keeping.backup_errors import CannotRead
from clinic.keeping.databases import scratch_database, working_in
from clinic.keeping.models import Run, RunKind
from clinic.keeping.services import restore
from clinic.keeping.services.backup import opened
from clinic.keeping.tables import LEFT_OUT
from clinic.visits.models import VisitNote
from tests.clinic.keeping.releases import (
    RELEASES,
    UpgradedFrom,
    database_of,
    empty_database,
    migrated_database,
    query,
    run,
)

PASSPHRASE = "nine garments on the line"
NAMED = f"by_hand{files.SUFFIX}"


@dataclass(frozen=True)
class BackedUp:
    """A clinic's database, and the folder with its backup."""

    name: str
    folder: Path

    @property
    def path(self) -> Path:
        return files.latest_of(self.folder)


@pytest.fixture(scope="module", autouse=True)
def _quick_passphrase() -> Iterator[None]:
    """The cost of guessing is not what is tested, but for one test that names it."""
    patch = pytest.MonkeyPatch()
    patch.setattr(cipher, "SCRYPT_LOG2_N", 4)
    with override_settings(BACKUP_PASSPHRASE=PASSPHRASE, BACKUP_PASSPHRASE_FILE=""):
        yield
    patch.undo()


@pytest.fixture(scope="module")
def empty_copy(django_db_setup: None, django_db_blocker: Any) -> Iterator[str]:
    with django_db_blocker.unblock(), migrated_database() as name:
        yield name


@pytest.fixture(scope="module")
def clinic(
    empty_copy: str,
    upgraded_from: UpgradedFrom,
    django_db_blocker: Any,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[BackedUp]:
    folder = tmp_path_factory.mktemp("backups")
    with django_db_blocker.unblock(), copy_of_first_release(upgraded_from) as name:
        query(name, "INSERT INTO django_session VALUES ('key', 'signed in', now())")
        told("backup", folder)
        yield BackedUp(name, folder)


@contextmanager
def copy_of_first_release(upgraded_from: UpgradedFrom) -> Iterator[str]:
    with empty_database(template=upgraded_from(RELEASES[0]).name) as name, working_in(name):
        yield name


def told(command: str, *arguments: Any) -> str:
    out = StringIO()
    call_command(command, *map(str, arguments), stdout=out)
    return out.getvalue()


def refusal(command: str, *arguments: Any) -> str:
    with pytest.raises(CommandError) as refused:
        told(command, *arguments)
    return str(refused.value)


def dumped(name: str) -> list[bytes]:
    """Rows and sequences as pg_dump writes them, in no order, but for what is left out."""
    left_out = [f"--exclude-table-data={table}" for table in [*LEFT_OUT, "keeping_run"]]
    left_out.append("--exclude-table-data=keeping_run_id_seq")
    text = run("pg_dump", "--data-only", *left_out, name)
    return sorted(re.sub(rb"(?m)^\\(un)?restrict .*$", b"", text).splitlines())


@contextmanager
def altered(path: Path, tmp_path: Path, content: bytes) -> Iterator[Path]:
    other = tmp_path / path.name
    other.write_bytes(content)
    yield other


# The drill


@pytest.fixture(scope="module")
def second(clinic: BackedUp, empty_copy: str) -> str:
    """The database that the clinic's backup was restored into, once the first try was killed."""

    def killed(*_: Any) -> None:
        raise KeyboardInterrupt

    with working_in(empty_copy):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(restore, "_prove", killed)
            with pytest.raises(KeyboardInterrupt):
                told("restore", clinic.path)
        said = told("restore", clinic.path)
    assert "Every table, count, hash and sequence is the backup's" in said
    assert "verify_notes: All as signed." in said
    return empty_copy


def test_what_is_restored_is_the_same_for_pg_dump(clinic: BackedUp, second: str) -> None:
    assert len(dumped(second)) > 5000
    assert dumped(second) == dumped(clinic.name)
    assert query(second, "SELECT count(*) FROM django_session") == [(0,)]
    with working_in(second):
        assert [run.kind for run in Run.objects.all()] == [RunKind.RESTORE]


def test_a_restored_database_is_one_to_work_in(second: str) -> None:
    """Numbers go on where they stood, and what is kept refuses edits as before."""
    taken = {number for (number,) in query(second, "SELECT record_number FROM clients_client")}
    with empty_database(template=second) as copy, working_in(copy):
        assert next_record_number() not in taken
        lead = User.objects.get(role=Role.CLINIC_LEAD)
        audit.record(lead, "client.opened", client=Client.objects.first())
        with pytest.raises(DatabaseError, match="Cannot update"):
            Entry.objects.update(verb="client.edited")
        with pytest.raises(DatabaseError, match="Cannot update"):
            VisitNote.objects.filter(signed_at__isnull=False).update(plan="Later")


def test_a_backup_of_an_earlier_release_is_restored_as_it_was_and_then_upgraded(
    clinic: BackedUp, tmp_path: Path
) -> None:
    with database_of("0.1.0") as earlier:
        with working_in(earlier):
            told("backup", tmp_path)
        with empty_database() as name, working_in(name):
            told("restore", files.latest_of(tmp_path))
            assert dumped(name) == dumped(earlier)
            call_command("migrate", verbosity=0)
            call_command("migrate", "--check", verbosity=0)
            assert Client.objects.count() == 43


def test_nothing_of_the_clinic_can_be_read_in_the_file(clinic: BackedUp) -> None:
    content = clinic.path.read_bytes()
    ((name,),) = query(clinic.name, "SELECT family_name FROM clients_client LIMIT 1")
    assert name.encode() not in content
    assert b"clients_client" not in content
    assert clinic.path.stat().st_mode & 0o777 == 0o600


def test_verifying_needs_no_database_and_tells_every_table(
    clinic: BackedUp, django_db_blocker: Any
) -> None:
    with django_db_blocker.block():
        said = told("verify_backup", clinic.path)
    ((rows,),) = query(clinic.name, "SELECT count(*) FROM clients_client")
    assert re.search(rf"^ +{rows}  [0-9a-f]{{16}}  clients_client$", said, re.M)
    assert not any(f"  {table}\n" in said for table in LEFT_OUT)


def test_the_scheduled_drill_restores_the_newest_and_notes_it(clinic: BackedUp) -> None:
    said = told("backup_drill", clinic.folder)
    assert "The drill went well" in said
    assert f"Restoring into the scratch database {clinic.name}_drill_" in said
    # By name: other tests make databases of their own meanwhile.
    left = "SELECT datname FROM pg_database WHERE starts_with(datname, current_database())"
    assert query(clinic.name, left) == [(clinic.name,)]
    noted = Run.objects.filter(kind=RunKind.DRILL).latest("began_at")
    assert noted.is_good
    assert noted.file_name == clinic.path.name
    assert noted.row_count == Run.objects.filter(kind=RunKind.BACKUP).earliest("began_at").row_count


def test_what_a_killed_drill_left_behind_goes_with_the_next(clinic: BackedUp) -> None:
    """Or a second database with everybody's records would stay for good."""
    left, used = (f"{clinic.name}_drill_{word}" for word in ("left", "used"))
    for name in (left, used):
        query(clinic.name, f"CREATE DATABASE {name} TEMPLATE template0")
    try:
        at_work = psycopg.connect(**connection.get_connection_params() | {"dbname": used})
        with at_work, scratch_database() as name:
            assert name.startswith(f"{clinic.name}_drill_")
        there = {name for (name,) in query(clinic.name, "SELECT datname FROM pg_database")}
        assert left not in there
        assert used in there  # of a drill that still runs
    finally:
        query(clinic.name, f"DROP DATABASE IF EXISTS {left}")
        query(clinic.name, f"DROP DATABASE IF EXISTS {used}")


@pytest.mark.parametrize("error", [DatabaseError("x"), RuntimeError("x")], ids=repr)
def test_a_drill_that_breaks_off_is_noted_whatever_it_was(
    clinic: BackedUp, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    """As when the schema cannot be made for want of an extension."""

    def broken(*_: Any) -> None:
        raise error

    monkeypatch.setattr(restore, "_migrate_to", broken)
    with pytest.raises((CommandError, RuntimeError)):
        told("backup_drill", clinic.folder)
    noted = Run.objects.filter(kind=RunKind.DRILL).latest("began_at")
    assert (noted.is_good, noted.said) == (False, f"It broke off: {type(error).__name__}.")


def test_a_drill_without_a_passphrase_is_noted(clinic: BackedUp) -> None:
    with override_settings(BACKUP_PASSPHRASE=""):
        assert "need a passphrase" in refusal("backup_drill", clinic.folder)
    assert not Run.objects.filter(kind=RunKind.DRILL).latest("began_at").is_good


def test_a_drill_that_fails_is_noted_with_the_reason(clinic: BackedUp, tmp_path: Path) -> None:
    (tmp_path / clinic.path.name).write_bytes(clinic.path.read_bytes()[:-1])
    assert "altered, or cut off" in refusal("backup_drill", tmp_path)
    noted = Run.objects.filter(kind=RunKind.DRILL).latest("began_at")
    assert not noted.is_good
    assert "altered, or cut off" in noted.said


# Refusals


@pytest.mark.parametrize("place", [0.0, 0.001, 0.3, 0.999999])
def test_one_changed_byte_is_found_before_anything_is_touched(
    clinic: BackedUp, tmp_path: Path, place: float
) -> None:
    content = bytearray(clinic.path.read_bytes())
    content[int(place * len(content))] ^= 1
    with altered(clinic.path, tmp_path, bytes(content)) as other:
        assert refusal("verify_backup", other)
        with empty_database() as name, working_in(name):
            assert refusal("restore", other)
            assert query(name, "SELECT * FROM pg_tables WHERE schemaname = 'public'") == []


def test_a_backup_cut_off_anywhere_is_found(clinic: BackedUp, tmp_path: Path) -> None:
    content = clinic.path.read_bytes()
    for length in (0, 40, cipher.HEAD_BYTES, cipher.HEAD_BYTES + 5, len(content) - 1):
        with altered(clinic.path, tmp_path, content[:length]) as other:
            assert refusal("verify_backup", other), length
    with altered(clinic.path, tmp_path, content + b"x") as other:
        assert refusal("verify_backup", other)


def test_another_passphrase_opens_nothing(clinic: BackedUp) -> None:
    with override_settings(BACKUP_PASSPHRASE="ten garments on the line"):
        assert "passphrase is not the one" in refusal("verify_backup", clinic.path)


def test_a_short_or_missing_passphrase_writes_nothing(clinic: BackedUp, tmp_path: Path) -> None:
    for typed in ("", "fourteen chars"):
        with override_settings(BACKUP_PASSPHRASE=typed):
            assert "at least 15 characters" in refusal("backup", tmp_path)
    kept = tmp_path / "passphrase"
    kept.write_text(f"{PASSPHRASE}\n")
    with override_settings(BACKUP_PASSPHRASE="", BACKUP_PASSPHRASE_FILE=str(kept)):
        assert "Whole" in told("verify_backup", clinic.path)
    assert list(tmp_path.iterdir()) == [kept]


def test_a_later_format_or_another_file_is_told_apart(clinic: BackedUp, tmp_path: Path) -> None:
    content = bytearray(clinic.path.read_bytes())
    content[len(cipher.MAGIC) + 1] = cipher.FORMAT_VERSION + 1
    with altered(clinic.path, tmp_path, bytes(content)) as other:
        assert "A later release wrote this backup (format 2" in refusal("restore", other)
    with altered(clinic.path, tmp_path, b"PK something else " * 50) as other:
        assert "not a backup of Ebbline" in refusal("verify_backup", other)
    assert "could not be read" in refusal("restore", tmp_path / "nowhere")


def test_a_database_with_records_is_left_alone(clinic: BackedUp) -> None:
    before = dumped(clinic.name)
    assert "not empty: it holds staff accounts" in refusal("restore", clinic.path)
    assert dumped(clinic.name) == before


def test_a_database_of_something_else_is_left_alone(clinic: BackedUp) -> None:
    with empty_database() as other, working_in(other):
        query(other, "CREATE TABLE invoices (id int)")
        assert "tables that are not this app's" in refusal("restore", clinic.path)
        assert query(other, "SELECT tablename FROM pg_tables WHERE schemaname = 'public'") == [
            ("invoices",)
        ]


def test_a_full_disk_is_a_sentence_and_leaves_no_half_file(
    clinic: BackedUp, tmp_path: Path
) -> None:
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (64 * 1024, limits[1]))
    try:
        said = refusal("backup", tmp_path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert "The disk is full" in said
    assert "No half file" in said
    assert os.listdir(tmp_path) == []
    assert "The disk is full" in Run.objects.filter(kind=RunKind.BACKUP).latest("began_at").said


def test_a_disk_that_fails_while_it_is_read_is_a_sentence(clinic: BackedUp) -> None:
    # Reading the memory of a process at address 0 fails with EIO, as a broken disk does.
    with (
        pytest.raises(CannotRead, match="Input/output error"),
        opened(Path("/proc/self/mem")) as it,
    ):
        it.read(1)


def test_a_backup_is_judged_by_what_the_disk_holds(
    clinic: BackedUp, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A byte that goes bad on its way is found, and no file stays."""

    def forgotten(handle: int, *_: int) -> None:
        (byte,) = os.pread(handle, 1, cipher.HEAD_BYTES + 1000)
        os.pwrite(handle, bytes([byte ^ 1]), cipher.HEAD_BYTES + 1000)

    monkeypatch.setattr(os, "posix_fadvise", forgotten)
    assert "not what was written" in refusal("backup", tmp_path)
    assert os.listdir(tmp_path) == []


def test_a_folder_that_is_not_there_gets_no_file_of_its_name(
    clinic: BackedUp, tmp_path: Path
) -> None:
    """Else a backup lies where no drill looks, and that of the next night is refused."""
    assert "is no folder" in refusal("backup", tmp_path / "backups")
    assert os.listdir(tmp_path) == []
    assert not Run.objects.filter(kind=RunKind.BACKUP).latest("began_at").is_good


def test_each_says_in_which_database_it_works(clinic: BackedUp, tmp_path: Path) -> None:
    """A timetable without the settings would back up an empty trial, night for night."""
    with override_settings(IS_TRIAL=True):
        assert "Backing up the trial's own database (no DATABASE_URL" in told("backup", tmp_path)
    with override_settings(IS_TRIAL=False):
        assert f"Backing up the database {clinic.name} on /" in told("backup", tmp_path / NAMED)


def test_a_backup_never_replaces_another(clinic: BackedUp) -> None:
    before = clinic.path.read_bytes()
    assert "there is a file of that name" in refusal("backup", clinic.path)
    assert clinic.path.read_bytes() == before


def test_guessing_the_passphrase_costs_what_owasp_asks() -> None:
    # OWASP Password Storage Cheat Sheet: scrypt with N 2^17, r 8, p 1 (from memory, not re-read).
    source = Path(cipher.__file__).read_text()
    assert "SCRYPT_LOG2_N, SCRYPT_R, SCRYPT_P = 17, 8, 1" in source

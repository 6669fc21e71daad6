"""What a restore refuses, and that it then leaves the database as it found it."""

from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.test import override_settings

from clinic.audit import services as audit
from clinic.keeping import cipher, files
from clinic.keeping.databases import working_in
from clinic.keeping.models import Run, RunKind
from clinic.keeping.services import restore, runs
from tests.cast import make_cast
from tests.clinic.keeping.releases import migrated_database, query, run


@pytest.fixture(scope="module", autouse=True)
def _quick_passphrase() -> Iterator[None]:
    patch = pytest.MonkeyPatch()
    patch.setattr(cipher, "SCRYPT_LOG2_N", 4)
    with override_settings(BACKUP_PASSPHRASE="nine garments on the line"):
        yield
    patch.undo()


@pytest.fixture(scope="module")
def _database(django_db_setup: None, django_db_blocker: Any) -> Iterator[str]:
    with django_db_blocker.unblock(), migrated_database() as name:
        with working_in(name):
            call_command("migrate", verbosity=0)  # does nothing unless this file is run alone
        yield name


@pytest.fixture
def database(_database: str) -> Iterator[str]:
    """One with today's schema and nobody's records: its own backup may be restored into it."""
    with working_in(_database):
        yield _database


@pytest.fixture
def backup(database: str, tmp_path: Path) -> Path:
    return backed_up(tmp_path)


def backed_up(folder: Path) -> Path:
    call_command("backup", str(folder), stdout=StringIO())
    return files.latest_of(folder)


def refusal(command: str, path: Path) -> str:
    with pytest.raises(CommandError) as refused:
        call_command(command, str(path), stdout=StringIO())
    return str(refused.value)


def content(database: str) -> list[bytes]:
    """Rows and sequences as pg_dump writes them, but for what notes each try."""
    left_out = [f"--exclude-table-data={name}" for name in ("keeping_run", "keeping_run_id_seq")]
    text = run("pg_dump", "--data-only", *left_out, database)
    return sorted(line for line in text.splitlines() if not line.startswith(b"\\"))


def test_what_the_others_try_to_restore_can_be_restored(database: str, backup: Path) -> None:
    call_command("restore", str(backup), stdout=StringIO())
    assert Run.objects.latest("began_at").kind == RunKind.RESTORE


@pytest.mark.parametrize(
    ("gone_wrong", "place"),
    [
        ("UPDATE visits_service SET name = name || '.' WHERE code = '97140'", "visits_service"),
        ("DELETE FROM visits_service WHERE code = '97140'", "visits_service"),
        ("SELECT setval('clients_record_number', 99999)", "clients_record_number"),
    ],
)
def test_a_restore_that_differs_anywhere_is_not_kept(
    database: str, backup: Path, monkeypatch: pytest.MonkeyPatch, gone_wrong: str, place: str
) -> None:
    """A value, a row, a sequence: the proof finds each, and nothing of the restore stays."""
    filled, before = restore._fill, content(database)

    def badly(into: psycopg.Connection[Any], *rest: Any) -> None:
        filled(into, *rest)
        into.execute("ALTER TABLE visits_service DISABLE TRIGGER USER")
        into.execute(gone_wrong)

    monkeypatch.setattr(restore, "_fill", badly)
    assert f"What was restored is not the same in {place}." in refusal("restore", backup)
    monkeypatch.undo()
    assert content(database) == before


LATER = "INSERT INTO django_migrations (app, name, applied) VALUES ('keeping', '9999_later', now())"
NO_LATER = "DELETE FROM django_migrations WHERE name = '9999_later'"


def test_a_backup_of_a_later_release_is_named(database: str, tmp_path: Path) -> None:
    query(database, LATER)
    later = backed_up(tmp_path)
    query(database, NO_LATER)
    assert "a later release (it knows keeping.9999_later)" in refusal("restore", later)


def test_a_database_of_a_later_schema_is_left_alone(database: str, backup: Path) -> None:
    query(database, LATER)
    said = refusal("restore", backup)
    query(database, NO_LATER)
    assert "not empty: it holds a later schema than the backup's" in said


def test_a_table_with_other_columns_is_not_filled(database: str, backup: Path) -> None:
    query(database, "ALTER TABLE visits_phrase ADD COLUMN colour text")
    before = content(database)
    said = refusal("restore", backup)
    assert content(database) == before
    query(database, "ALTER TABLE visits_phrase DROP COLUMN colour")
    assert "The table visits_phrase is not the one that was backed up." in said


def test_a_record_tampered_with_before_the_backup_is_told_after_the_restore(
    database: str, tmp_path: Path
) -> None:
    """The copy is faithful, and so what is wrong with the original comes to light."""
    with migrated_database() as tampered, migrated_database() as empty:
        with working_in(tampered):
            audit.record(make_cast().lead, "client.opened")
            query(tampered, "ALTER TABLE audit_entry DISABLE TRIGGER USER")
            query(tampered, "UPDATE audit_entry SET verb = 'client.edited'")
            query(tampered, "ALTER TABLE audit_entry ENABLE TRIGGER USER")
            path = backed_up(tmp_path)
        with working_in(empty):
            said = refusal("restore", path)
            assert query(empty, "SELECT verb FROM audit_entry") == [("client.edited",)]
    assert "but verify_record finds some that are not as they were signed or recorded" in said


def test_a_role_that_may_make_no_database_is_told_what_to_grant(
    database: str, backup: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused() -> None:
        raise psycopg.errors.InsufficientPrivilege

    monkeypatch.setattr(runs, "scratch_database", refused)
    assert "ALTER ROLE ... CREATEDB" in refusal("backup_drill", backup.parent)
    assert not Run.objects.filter(kind=RunKind.DRILL).latest("began_at").is_good

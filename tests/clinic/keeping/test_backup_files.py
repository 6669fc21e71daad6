"""The folder of backups: which is the newest, and which are removed."""

import os
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import override_settings

from clinic.keeping import cipher, files
from clinic.keeping.backup_errors import NoBackupFound
from clinic.keeping.models import Run

NOW = datetime(2026, 3, 4, 2, 30, tzinfo=UTC)
FIVE_WEEKS = timedelta(days=35)


def lying(folder: Path, name: str, *, days: float, before: datetime = NOW) -> Path:
    """A file last written so many days before."""
    path = folder / name
    path.write_bytes(b"sealed")
    moment = (before - timedelta(days=days)).timestamp()
    os.utime(path, (moment, moment))
    return path


def backup_of(folder: Path, *, days: float, before: datetime = NOW) -> Path:
    return lying(folder, f"made-{days}{files.SUFFIX}", days=days, before=before)


def cleared(folder: Path) -> set[str]:
    """What is gone once the folder was cleared of what is older than five weeks."""
    there = set(os.listdir(folder))
    gone = files.clear_away(folder, older_than=FIVE_WEEKS, now=NOW)
    left = set(os.listdir(folder))
    assert {path.name for path in gone} <= there - left
    return there - left


def test_backups_past_their_days_go_and_nothing_else(tmp_path: Path) -> None:
    old = backup_of(tmp_path, days=35.1)
    for days in (34.9, 1):
        backup_of(tmp_path, days=days)
    lying(tmp_path, "notes.txt", days=400)
    assert cleared(tmp_path) == {old.name}


def test_the_newest_stays_however_old_it_is(tmp_path: Path) -> None:
    """The timetable may have stopped long ago: what is left is all there is."""
    newest, older = backup_of(tmp_path, days=90), backup_of(tmp_path, days=120)
    assert cleared(tmp_path) == {older.name}
    assert files.latest_of(tmp_path) == newest


def test_what_a_killed_process_began_goes_after_a_day(tmp_path: Path) -> None:
    backup_of(tmp_path, days=1)
    abandoned = lying(tmp_path, f".a{files.UNFINISHED}", days=1.1)
    lying(tmp_path, f".b{files.UNFINISHED}", days=0.9)  # perhaps still being written
    assert cleared(tmp_path) == {abandoned.name}


def test_a_folder_without_a_backup_is_named(tmp_path: Path) -> None:
    """It may be misspelt in the timetable."""
    lying(tmp_path, f".a{files.UNFINISHED}", days=0)
    for folder in (tmp_path, tmp_path / "bakcups"):
        with pytest.raises(NoBackupFound) as missing:
            files.latest_of(folder)
        assert missing.value.folder == str(folder)


@pytest.mark.parametrize("days", ["-1", "0", "99999999999", "many"])
def test_days_that_cannot_be_meant_remove_nothing_and_write_nothing(
    tmp_path: Path, days: str
) -> None:
    """Fewer than one would leave the newest backup alone."""
    old = backup_of(tmp_path, days=400)
    with pytest.raises(CommandError, match="--keep-days"):
        call_command("backup", str(tmp_path), "--keep-days", days)
    assert os.listdir(tmp_path) == [old.name]


@pytest.mark.django_db
@override_settings(BACKUP_PASSPHRASE="nine garments on the line")
def test_a_backup_that_failed_removes_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cipher, "SCRYPT_LOG2_N", 4)
    now = datetime.now(UTC)
    old, older = (backup_of(tmp_path, days=days, before=now) for days in (50, 60))
    with pytest.raises(CommandError, match="there is a file of that name"):
        call_command("backup", str(old), "--keep-days", "35", stdout=StringIO())
    assert {path.name for path in (old, older)} == set(os.listdir(tmp_path))
    said = StringIO()
    call_command("backup", str(tmp_path), "--keep-days", "35", stdout=said)
    assert "Removed 2 older than 35 days." in said.getvalue()
    assert os.listdir(tmp_path) == [Run.objects.get(is_good=True).file_name]

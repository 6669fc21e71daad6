"""Keeping a checked list, all of it or none, with the number of statements bounded."""

from collections.abc import Iterator

from django.db import connection, transaction

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client, Referrer
from clinic.exchange.errors import DoubtsUnanswered, ListRefused
from clinic.exchange.reports import ListReport
from clinic.exchange.selectors.girths_in import girths_report
from clinic.exchange.selectors.people_in import clients_report, referrers_report
from measurements.errors import ImportRefused
from measurements.services.imports import keep_sessions

# Rows of one INSERT: few round trips, and far below the 65,535 parameters of a statement.
BATCH = 1000


@transaction.atomic
def import_clients(*, raw: bytes, seen: str, by: User) -> ListReport:
    """Register every client of a list. `seen` is the mark of the doubts that were looked at.

    Nobody else registers a client meanwhile: checked again under a lock of the table, so that
    two lists cannot both find no look-alike. Raises ListRefused, DoubtsUnanswered, FileErrors.
    """
    _lock(Client)
    report = _judged(clients_report(raw), seen)
    clients = [each.row for each in report.incoming]
    _number(clients)
    Client.objects.bulk_create(clients, batch_size=BATCH)
    audit.record(by, "clients.imported")
    audit.record_for_each(by, "client.registered", clients=(client.pk for client in clients))
    return report


@transaction.atomic
def import_referrers(*, raw: bytes, seen: str, by: User) -> ListReport:
    """Add every referrer of a list. Raises ListRefused, DoubtsUnanswered, the FileErrors."""
    _lock(Referrer)
    report = _judged(referrers_report(raw), seen)
    Referrer.objects.bulk_create([each.row for each in report.incoming], batch_size=BATCH)
    audit.record(by, "referrers.imported")
    return report


def import_girths(*, raw: bytes, seen: str, by: User) -> ListReport:
    """Keep every session of a file of many clients. Raises ListRefused, the FileErrors.

    The report of a refusal is made once everything is undone, else it calls what was being kept
    recorded already.
    """
    try:
        return _keep_girths(_judged(girths_report(raw), seen), by)
    except ImportRefused as refused:
        raise ListRefused(girths_report(raw)) from refused


@transaction.atomic
def _keep_girths(report: ListReport, by: User) -> ListReport:
    """Episodes are locked one after the other in the order of their keys, so that two files cannot
    wait for each other."""
    for part in sorted(report.parts, key=lambda part: part.episode.pk):
        keep_sessions(episode=part.episode, file=part.file, by=by)
    audit.record(by, "girths.all_imported")
    return report


def _judged(report: ListReport, seen: str) -> ListReport:
    if not report.is_ready:
        raise ListRefused(report)
    if report.doubts and seen != report.mark:
        raise DoubtsUnanswered(report)
    return report


def _lock(model: type[Client | Referrer]) -> None:
    """Readers go on; whoever would write waits until the list is kept."""
    with connection.cursor() as cursor:
        cursor.execute(f'LOCK TABLE "{model._meta.db_table}" IN SHARE ROW EXCLUSIVE MODE')


def _number(clients: list[Client]) -> None:
    """Give those without a record number the next ones of the sequence that nobody has."""
    without = [client for client in clients if not client.record_number]
    typed = {client.record_number for client in clients}
    free = _free_numbers(len(without), typed)
    for client, number in zip(without, free, strict=False):
        client.record_number = number


def _free_numbers(count: int, typed: set[str]) -> Iterator[str]:
    while count > 0:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT nextval('clients_record_number') FROM generate_series(1, %s)", [count]
            )
            drawn = [str(row[0]) for row in cursor.fetchall()]
        known = Client.objects.filter(record_number__in=drawn)
        taken = typed | set(known.values_list("record_number", flat=True))
        free = [number for number in drawn if number not in taken]
        count -= len(free)
        yield from free

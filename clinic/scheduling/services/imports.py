"""Keep the appointments of a checked list, all of them or none."""

from datetime import datetime

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.scheduling.desk_errors import ListRefused
from clinic.scheduling.models import Appointment, StatusChange
from clinic.scheduling.ranges import stored
from clinic.scheduling.selectors.imports import ListReport, Otherwise, Understood, list_report
from clinic.scheduling.services.booking import blocked_by
from clinic.scheduling.services.locks import take_turns

# Rows of one INSERT: far below the 65,535 parameters of a statement.
BATCH = 2000


def import_appointments(*, raw: bytes, otherwise: Otherwise, by: User) -> ListReport:
    """Keep every appointment of a file, or none of them.

    The file is checked again under the locks of all it names: raises ListRefused with the report
    when it no longer fits, and the FileErrors.
    """
    try:
        with transaction.atomic():
            return _imported(raw, otherwise, by)
    except IntegrityError as error:
        blocked_by(error)  # raises what is no double booking
        raise ListRefused(list_report(raw, otherwise)) from error


def _imported(raw: bytes, otherwise: Otherwise, by: User) -> ListReport:
    _hold(list_report(raw, otherwise))
    report = list_report(raw, otherwise)
    if not report.is_ready:
        raise ListRefused(report)
    now = timezone.now()
    # Each row locks its client: in the order in which a merge locks two.
    rows = sorted(report.rows, key=lambda row: row.client.pk)
    made = [_appointment(row, now=now, by=by) for row in rows]
    Appointment.objects.bulk_create(made, batch_size=BATCH)
    StatusChange.objects.bulk_create(
        (StatusChange(appointment=one, status=one.status, at=now, by=by) for one in made),
        batch_size=BATCH,
    )
    for row in {row.client.pk: row for row in report.rows}.values():
        audit.record(by, "appointments.imported", client=row.client)
    return report


def _hold(report: ListReport) -> None:
    """Keep other bookers of the same people and rooms waiting until all is saved."""
    if report.rows:
        take_turns(
            therapist_ids={row.therapist.pk for row in report.rows},
            room_ids={row.room.pk for row in report.rows if row.room},
            client_ids={row.client.pk for row in report.rows},
        )


def _appointment(row: Understood, *, now: datetime, by: User) -> Appointment:
    return Appointment(
        client=row.client,
        therapist=row.therapist,
        room=row.room,
        kind=row.kind,
        period=stored(row.span),
        status=row.status,
        status_at=now,
        desk_note=row.note,
        booked_by=by,
    )

"""Keeping the past sessions of a file, all of them or none."""

from collections.abc import Iterator

from django.db import transaction

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode
from measurements.csv_rows import FileRead, read_file
from measurements.errors import ImportRefused
from measurements.models import GirthReading, GirthSession
from measurements.selectors.imports import (
    ImportReport,
    PastSession,
    limbs_without_session,
    report_on,
)
from measurements.services.record import lock_episode, reading_row
from measurements.services.standings import keep_standings

# Rows of one INSERT: few round trips, and far below the 65,535 parameters of a statement.
BATCH = 5000


@transaction.atomic
def import_sessions(*, episode: Episode, raw: bytes, by: User) -> ImportReport:
    """Keep every session of a checked file, in a fixed number of queries a thousand sessions.

    The file is checked again under the episode's lock: raises ImportRefused with the report
    when it no longer fits, and the FileErrors. The earliest session of a limb that has none
    becomes its baseline.
    """
    return keep_sessions(episode=episode, file=read_file(raw), by=by)


@transaction.atomic
def keep_sessions(*, episode: Episode, file: FileRead, by: User) -> ImportReport:
    """The same for a file that was read before, perhaps part of a larger one."""
    episode = lock_episode(episode)
    report = report_on(episode, file)
    if not report.is_ready:
        raise ImportRefused(report)
    sessions = list(_sessions(episode, report, by))
    GirthSession.objects.bulk_create(sessions, batch_size=BATCH)
    GirthReading.objects.bulk_create(_readings(report.sessions, sessions), batch_size=BATCH)
    keep_standings([episode.pk])
    audit.record(by, "girths.imported", client=episode.client, subject=episode)
    return report


def _sessions(episode: Episode, report: ImportReport, by: User) -> Iterator[GirthSession]:
    """The rows to be, oldest first, so that the first of a limb may be its baseline."""
    fresh = limbs_without_session(episode)
    rounds = {key: max(number for _, number in found) for key, found in report.existing.items()}
    for past in report.sessions:
        facts = past.taped.facts
        key = (facts.limb, facts.taken_on)
        rounds[key] = rounds.get(key, 0) + 1
        yield GirthSession(
            episode=episode,
            protocol=past.protocol,
            limb=facts.limb,
            taken_on=facts.taken_on,
            taken_at=facts.taken_at,
            round=rounds[key],
            posture=facts.posture,
            weight_kg=facts.weight_kg,
            note=facts.note,
            taken_by=by,
            is_baseline=facts.limb in fresh,
        )
        fresh.discard(facts.limb)


def _readings(
    pasts: tuple[PastSession, ...], sessions: list[GirthSession]
) -> Iterator[GirthReading]:
    for past, session in zip(pasts, sessions, strict=True):
        for reading in past.taped.readings:
            yield reading_row(session, reading, past.taped.confirmed.girths)

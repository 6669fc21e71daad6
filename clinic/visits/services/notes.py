"""Writes about drafts of visit notes: begin, save, settle, copy forward, discard.

Every save is one transaction: either all that was typed is kept or nothing, and what cannot be
kept in the note is kept beside it before anybody is told.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode
from clinic.clients.selectors import current_phase
from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Phase
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import span_of, wall
from clinic.scheduling.states import FREED, Status
from clinic.visits.errors import (
    AppointmentUnsuited,
    EpisodeClosed,
    NoteChangedMeanwhile,
    NoteGone,
    NoteKept,
    NothingToCopy,
    ServiceNotInUse,
    TreatmentMinutesOutOfRange,
    VisitDayWrong,
    VisitMinutesOutOfRange,
)
from clinic.visits.models import LONGEST_VISIT_MIN, SetAside, TreatmentEntry, VisitNote
from clinic.visits.selectors.earlier import note_before
from clinic.visits.selectors.lists import services_on
from clinic.visits.timing import TimingRule, Treated, units_of
from clinic.visits.typed import NoteTyped, TreatmentTyped, as_json, from_json, tidied, values_of
from clinic.visits.words import Section, VisitKind

# Begin


@transaction.atomic
def begin_note(
    *,
    episode: Episode,
    kind: VisitKind,
    visited_on: date,
    by: User,
    appointment: Appointment | None = None,
) -> VisitNote:
    """A draft for one visit; the one there already is for an appointment, never a second.

    Without an appointment this person's own draft of the same day and kind is opened again.
    Raises VisitDayWrong, EpisodeClosed, AppointmentUnsuited.
    """
    if there := _there_already(episode, appointment, (kind, visited_on, by)):
        return there
    _check_day(episode, visited_on)
    note = VisitNote(episode=episode, kind=kind, visited_on=visited_on, appointment=appointment)
    note.therapist = note.begun_by = note.edited_by = by
    if appointment is not None:
        _check_appointment(appointment, episode, visited_on)
        note.visit_min = min(span_of(appointment.period).minutes, LONGEST_VISIT_MIN)
    try:
        with transaction.atomic():
            note.save(force_insert=True)
    except IntegrityError:
        # Two devices began the note of one appointment at once: the second opens the first's.
        if there := _there_already(episode, appointment, (kind, visited_on, by)):
            return there
        raise
    audit.record(by, "note.begun", client=episode.client, subject=note)
    return note


def _there_already(
    episode: Episode, appointment: Appointment | None, wanted: tuple[VisitKind, date, User]
) -> VisitNote | None:
    if appointment is not None:
        return VisitNote.objects.filter(appointment=appointment).first()
    kind, visited_on, by = wanted
    Episode.objects.select_for_update(no_key=True).get(pk=episode.pk)
    own = VisitNote.objects.filter(
        episode=episode, kind=kind, visited_on=visited_on, begun_by=by, appointment=None
    )
    return own.filter(signed_at=None).first()


def _check_day(episode: Episode, visited_on: date) -> None:
    is_future = visited_on > timezone.localdate()
    if is_future or visited_on < episode.opened_on:
        raise VisitDayWrong(opened_on=episode.opened_on, is_future=is_future)
    last = current_phase(episode)
    if last.phase == Phase.DISCHARGED and last.since_on < visited_on:
        raise EpisodeClosed(last.since_on)


def _check_appointment(appointment: Appointment, episode: Episode, visited_on: date) -> None:
    is_freed = Status(appointment.status) in FREED
    is_of_visit = wall(appointment.period.lower).date() == visited_on
    if is_freed or appointment.client_id != episode.client_id or not is_of_visit:
        raise AppointmentUnsuited(is_freed=is_freed)


# Save


def save_note(*, note: VisitNote, typed: NoteTyped, revision: int, by: User) -> VisitNote:
    """Keep what was typed upon a revision: text, treatments and signs, or nothing of it.

    When somebody saved in between and the text differs, it is set aside in a transaction of its
    own and NoteChangedMeanwhile tells of it; so it is when the note was signed in between
    (NoteKept). The same text is no conflict. Raises NoteGone, VisitMinutesOutOfRange,
    TreatmentMinutesOutOfRange, ServiceNotInUse, and those of `visits.timing_errors`.
    """
    with transaction.atomic():
        stored, refusal = _kept_or_set_aside(note, typed, revision, by)
    if refusal is not None:
        raise refusal
    return stored


def settle_texts(*, note: VisitNote, typed: NoteTyped, revision: int, by: User) -> VisitNote:
    """Keep the text that a person chose; what was set aside for them is settled, not deleted.

    Raises as `save_note`; after NoteChangedMeanwhile or NoteKept nothing is settled.
    """
    with transaction.atomic():
        stored, refusal = _kept_or_set_aside(note, typed, revision, by)
        if refusal is None:
            settle_set_aside(stored, by)
            audit.record(by, "note.text_settled", client=stored.episode.client, subject=stored)
    if refusal is not None:
        raise refusal
    return stored


def settle_set_aside(stored: VisitNote, by: User) -> None:
    """What was set aside for a person needs no choice any more; the rows stay."""
    stored.set_aside.filter(kept_by=by, settled_at=None).update(settled_at=timezone.now())


def _kept_or_set_aside(
    note: VisitNote, typed: NoteTyped, revision: int, by: User
) -> tuple[VisitNote, RuleBroken | None]:
    """The stored note, and what to raise once the text set aside is safely committed."""
    stored = locked_note(note, typed)
    if stored.signed_at is None and stored.revision == revision:
        _keep(stored, typed, by)
        return stored, None
    is_same = _is_same(stored, typed)
    if not is_same:
        _set_aside(stored, typed, revision, by)
    if stored.signed_at is not None:
        return stored, NoteKept(stored, was_set_aside=not is_same)
    return stored, None if is_same else NoteChangedMeanwhile(note=stored, typed=typed)


def locked_note(note: VisitNote, typed: NoteTyped | None = None) -> VisitNote:
    """The stored note, held until the transaction ends. Raises NoteGone."""
    rows = VisitNote.objects.select_for_update(of=("self",), no_key=True)
    stored = rows.defer("signed").filter(pk=note.pk).first()
    if stored is None:
        raise NoteGone(typed)
    return stored


def _texts_after(stored: VisitNote, typed: NoteTyped) -> dict[str, str]:
    """Every section as it would stand; one that was not typed stays."""
    return {
        each.value: typed.text(each) if each in typed.sections else getattr(stored, each.value)
        for each in Section
    }


def _columns_after(stored: VisitNote, typed: NoteTyped) -> dict[str, Any]:
    """The note's own columns as they would stand; a section touched loses its mark."""
    texts = _texts_after(stored, typed)
    copied = [name for name in stored.copied if texts[name] == getattr(stored, name)]
    rest = {"visit_min": typed.visit_min, "signs": values_of(typed.signs), "copied": copied}
    return texts | rest


def _rows_of(stored: VisitNote) -> list[TreatmentTyped]:
    found = stored.treatments.values_list("service_id", "minutes", "remark")
    return [TreatmentTyped(*row) for row in found]


def _rows_after(typed: NoteTyped) -> list[TreatmentTyped]:
    return [
        TreatmentTyped(row.service_id, row.minutes, tidied(row.remark)) for row in typed.treatments
    ]


def _is_same(stored: VisitNote, typed: NoteTyped) -> bool:
    columns = _columns_after(stored, typed)
    is_alike = all(getattr(stored, name) == value for name, value in columns.items())
    return is_alike and _rows_of(stored) == _rows_after(typed)


def _keep(stored: VisitNote, typed: NoteTyped, by: User) -> None:
    """Write what differs; nothing is written and no revision made when nothing does."""
    columns, rows = _columns_after(stored, typed), _rows_after(typed)
    _check_visit(typed.visit_min)
    is_alike = all(getattr(stored, name) == value for name, value in columns.items())
    if rows != _rows_of(stored):
        _replace_treatments(stored, rows)
    elif is_alike:
        return
    if by.pk != stored.edited_by_id or stored.revision == 0:
        # One log entry for each person who writes on a note, not one for each of many savings.
        audit.record(by, "note.saved", client=stored.episode.client, subject=stored)
    for name, value in columns.items():
        setattr(stored, name, value)
    _stamp(stored, by, columns)


def _stamp(stored: VisitNote, by: User, columns: Iterable[str]) -> None:
    stored.revision += 1
    stored.edited_by = by
    stored.save(update_fields=[*columns, "revision", "edited_by", "edited_at"])


def _check_visit(visit_min: int | None) -> None:
    if visit_min is not None and not 1 <= visit_min <= LONGEST_VISIT_MIN:
        raise VisitMinutesOutOfRange(visit_min, LONGEST_VISIT_MIN)


def _replace_treatments(stored: VisitNote, rows: list[TreatmentTyped]) -> None:
    services = {service.pk: service for service in services_on(stored.visited_on)}
    kept = {row.service_id for row in _rows_of(stored)}
    for place, row in enumerate(rows):
        if not 1 <= row.minutes <= LONGEST_VISIT_MIN:
            raise TreatmentMinutesOutOfRange(
                place=place, minutes=row.minutes, most=LONGEST_VISIT_MIN
            )
        if row.service_id not in services and row.service_id not in kept:
            raise ServiceNotInUse(row.service_id, stored.visited_on)
    known = [(services[row.service_id], row) for row in rows if row.service_id in services]
    treated = [Treated(service.code, row.minutes, service.is_timed) for service, row in known]
    units_of(treated, rule=TimingRule.EIGHT_MINUTE)  # for its errors: a day has so many minutes
    stored.treatments.all().delete()
    TreatmentEntry.objects.bulk_create(
        TreatmentEntry(
            note=stored,
            place=place,
            service_id=row.service_id,
            minutes=row.minutes,
            remark=row.remark,
        )
        for place, row in enumerate(rows)
    )


# Two texts


def _set_aside(stored: VisitNote, typed: NoteTyped, revision: int, by: User) -> None:
    """Keep a text beside the note. An older one of the same person stays with it, unless the new
    one still has every word of it.
    """
    open_rows = stored.set_aside.filter(kept_by=by, settled_at=None)
    row = open_rows.first() or SetAside(note=stored, kept_by=by, typed={"texts": []})
    texts = [text for text in row.typed["texts"] if not _has_all_of(typed, from_json(text))]
    row.typed = {"texts": [*texts, as_json(typed)]}
    row.revision = revision
    row.save()


def _has_all_of(newer: NoteTyped, older: NoteTyped) -> bool:
    is_longer = all(older.text(each) in newer.text(each) for each in older.sections)
    has_signs = older.signs <= newer.signs
    has_minutes = older.visit_min in (None, newer.visit_min)
    return (
        is_longer and has_signs and has_minutes and set(older.treatments) <= set(newer.treatments)
    )


# Copy forward


@transaction.atomic
def copy_forward(*, note: VisitNote, sections: Iterable[Section], by: User) -> VisitNote:
    """Take over sections from the note before, marked as copied until somebody touches them.

    From the last signed note of the episode, else the last drafted. A section that has words
    already keeps them. Raises NothingToCopy, NoteKept, NoteGone.
    """
    stored = locked_note(note)
    if stored.signed_at is not None:
        raise NoteKept(stored)
    before = note_before(stored)
    wanted = [
        each.value
        for each in Section
        if each in set(sections)
        and before
        and getattr(before, each.value)
        and not getattr(stored, each.value)
    ]
    if before is None or not wanted:
        raise NothingToCopy
    for name in wanted:
        setattr(stored, name, getattr(before, name))
    stored.copied = sorted({*stored.copied, *wanted})
    stored.copied_from = before
    _stamp(stored, by, [*wanted, "copied", "copied_from"])
    audit.record(by, "note.saved", client=stored.episode.client, subject=stored)
    return stored


# Discard and look


@transaction.atomic
def discard_note(*, note: VisitNote, by: User) -> None:
    """Remove a draft with all that hangs on it. Raises NoteKept, NoteGone.

    A draft stays on which a red flag was acknowledged, or from which a signed note was copied.
    """
    stored = locked_note(note)
    was_copied = VisitNote.objects.filter(copied_from=stored, signed_at__isnull=False)
    if stored.signed_at is not None or stored.red_flags.exists() or was_copied.exists():
        raise NoteKept(stored)
    audit.record(by, "note.discarded", client=stored.episode.client, subject=stored)
    VisitNote.objects.filter(copied_from=stored, signed_at=None).update(copied_from=None)
    stored.delete()


@transaction.atomic
def note_look(*, note: VisitNote, verb: str, by: User) -> None:
    """Record that a note was opened ("note.seen") or printed ("note.printed")."""
    audit.record(by, verb, client=note.episode.client, subject=note)

"""Sheets of notes: a signed one from its snapshot, one about to be signed from its page."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from clinic.accounts.models import User
from clinic.accounts.selectors import practice_card
from clinic.visits import snapshot
from clinic.visits.desk import AddendumShown, VisitDesk
from clinic.visits.models import VisitNote
from clinic.visits.seal import is_intact
from clinic.visits.sheet import (
    NoteSheet,
    SheetBlock,
    SheetRedFlag,
    SheetSection,
    SheetTiming,
    SheetTreatment,
)
from clinic.visits.words import Section


def signed_sheet(note: VisitNote, addenda: tuple[AddendumShown, ...]) -> NoteSheet:
    """What was signed; the note has its snapshot."""
    content: Mapping[str, Any] = note.signed or {}
    sheet = _sheet(note, content["note"], content["shown"])
    return replace(
        sheet,
        cosignature=note.cosignature,
        cosigned_at=note.cosigned_at,
        addenda=addenda,
        seal=note.seal,
        is_intact=is_intact(content, seal=note.seal),
    )


def sheet_to_sign(desk: VisitDesk, by: User) -> NoteSheet:
    """The draft as it would be signed now by this person, for a last look. One query."""
    columns = snapshot.columns_of(desk.note, snapshot.NOTE_COLUMNS)
    columns |= {
        "signature": by.signature,
        "signed_at": timezone.now().isoformat(),
        "is_late_entry": is_late(desk.note.visited_on, timezone.localdate()),
    }
    shown = snapshot.shown_content(desk, practice_card(), desk.note.therapist)
    return _sheet(desk.note, columns, shown)


# A note signed later than this after the visit is marked as a late entry; common practice, no
# source.
LATE_AFTER_DAYS = 1


def is_late(visited_on: date, signed_on: date) -> bool:
    return (signed_on - visited_on).days > LATE_AFTER_DAYS


def _sheet(note: VisitNote, columns: Mapping[str, Any], shown: Mapping[str, Any]) -> NoteSheet:
    client = shown["client"]
    return NoteSheet(
        id=note.pk,
        episode_id=note.episode_id,
        client_id=note.episode.client_id,
        practice=shown["practice"],
        client_name=client["name"],
        record_number=client["record_number"],
        born_on=date.fromisoformat(client["born_on"]),
        diagnosis=shown["diagnosis"],
        phase=shown["phase"],
        kind=shown["kind"],
        visited_on=date.fromisoformat(columns["visited_on"]),
        visit_min=columns["visit_min"],
        therapist=shown["therapist"],
        sections=_sections(columns),
        blocks=tuple(SheetBlock(one["title"], tuple(one["lines"])) for one in shown["blocks"]),
        treatments=tuple(SheetTreatment(**one) for one in shown["treatments"]),
        timing=_timing(shown["timing"]),
        red_flags=tuple(_red_flag(one) for one in shown["red_flags"]),
        signature=columns["signature"],
        signed_at=datetime.fromisoformat(columns["signed_at"]),
        is_late_entry=columns["is_late_entry"],
        state=note.state,
        cosignature="",
        cosigned_at=None,
        addenda=(),
        seal="",
        is_intact=True,
    )


def _sections(columns: Mapping[str, Any]) -> tuple[SheetSection, ...]:
    """Those with words only, in the order of the page."""
    return tuple(
        SheetSection(section.label, columns[section.value], section.value in columns["copied"])
        for section in Section
        if columns[section.value]
    )


def _timing(told: Mapping[str, Any]) -> SheetTiming:
    sentences = {name: tuple(told[name]) for name in ("explanation", "warnings")}
    return SheetTiming(**{**told, **sentences})


def _red_flag(told: Mapping[str, Any]) -> SheetRedFlag:
    return SheetRedFlag(**{**told, "seen_at": datetime.fromisoformat(told["seen_at"])})

"""Visits to chart. Plain functions, complete and valid, with only the named differences."""

from typing import Any

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.visits.lists import Service
from clinic.visits.models import VisitNote
from clinic.visits.selectors.notes import notes_for
from clinic.visits.services.notes import begin_note, save_note
from clinic.visits.services.signing import sign_note
from clinic.visits.typed import NoteTyped, TreatmentTyped
from clinic.visits.words import Section, VisitKind
from programmes.services.care import Asked, review_precautions
from tests.builders import make_client, make_episode, today

# Words that stand in no template, so that finding them means that the note was read.
SAID = "Tight behind the elbow since the flight."
PLANNED = "Bandage daily and tape again on Friday."


def service(code: str = "97140") -> Service:
    return Service.objects.get(code=code)


def treated(*minutes_by_code: tuple[str, int]) -> tuple[TreatmentTyped, ...]:
    return tuple(TreatmentTyped(service(code).pk, minutes) for code, minutes in minutes_by_code)


def typed(**differences: Any) -> NoteTyped:
    """All that a treatment visit needs."""
    sections = {Section.SUBJECTIVE: SAID, Section.PLAN: PLANNED}
    sections |= differences.pop("sections", {})
    values = {"visit_min": 60, "sections": sections}
    if "treatments" not in differences:
        values["treatments"] = treated(("97140", 40), ("97535", 15))
    return NoteTyped(**values | differences)


def draft(by: User, episode: Episode | None = None, **differences: Any) -> VisitNote:
    values = {"kind": VisitKind.TREATMENT, "visited_on": today()}
    chosen = episode or make_episode(make_client(), by)
    note = begin_note(episode=chosen, by=by, **values | differences)
    return notes_for(by).get(pk=note.pk)


def asked(note: VisitNote, by: User) -> None:
    answer = Asked(asked_on=note.visited_on)
    review_precautions(client=note.episode.client, asked=answer, by=by)


def ready(by: User, episode: Episode | None = None, **differences: Any) -> VisitNote:
    """A draft that lacks nothing but the signature. `typed` are differences of what is typed."""
    what = typed(**differences.pop("typed", {}))
    note = draft(by, episode, **differences)
    asked(note, by)
    return save_note(note=note, typed=what, revision=note.revision, by=by)


def signed(by: User, episode: Episode | None = None, **differences: Any) -> VisitNote:
    note = ready(by, episode, **differences)
    note = sign_note(note=note, revision=note.revision, by=by)
    return notes_for(by).get(pk=note.pk)

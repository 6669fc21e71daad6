"""Two versions of one note, part by part, for a person who chooses between them."""

from collections.abc import Iterator
from dataclasses import dataclass

from clinic.visits.desk import SetAsideText, VisitDesk
from clinic.visits.models import VisitNote
from clinic.visits.red_flags import Sign
from clinic.visits.typed import NoteTyped, TreatmentTyped
from clinic.visits.words import Section


@dataclass(frozen=True)
class Difference:
    """One part that differs; `name` is that of its choice in the form. Texts as shown."""

    name: str
    label: str
    mine: str
    theirs: str
    may_keep_both: bool = True


def kept(note: VisitNote) -> NoteTyped:
    """What the record holds of a note, as it would be typed. One query at most."""
    return NoteTyped(
        visit_min=note.visit_min,
        sections={section: getattr(note, section.value) for section in Section},
        copied=frozenset(map(Section, note.copied)),
        treatments=tuple(
            TreatmentTyped(row.service_id, row.minutes, row.remark) for row in note.treatments.all()
        ),
        signs=frozenset(map(Sign, note.signs)),
    )


def differences(desk: VisitDesk) -> tuple[Difference, ...]:
    """What differs between this person's text set aside and the note; empty without one."""
    aside = desk.own_set_aside
    if aside is None:
        return ()
    return tuple(_every(desk, aside, kept(desk.note)))


def _every(desk: VisitDesk, aside: SetAsideText, theirs: NoteTyped) -> Iterator[Difference]:
    mine = aside.typed
    for section in Section:
        if section in mine.sections and mine.text(section) != theirs.text(section):
            label = section.label.capitalize()
            yield Difference(section.value, label, mine.text(section), theirs.text(section))
    if mine.treatments != theirs.treatments:
        names = {each.id: f"{each.code} {each.name}" for each in desk.treatment.services}
        yield Difference("treatments", "Treatment", _rows(mine, names), _rows(theirs, names))
    if mine.visit_min != theirs.visit_min:
        both = (_minutes(mine.visit_min), _minutes(theirs.visit_min))
        yield Difference("visit_min", "Minutes of the visit", *both, may_keep_both=False)
    if mine.signs != theirs.signs:
        yield Difference("signs", "Signs", _signs(mine), _signs(theirs))


def _rows(typed: NoteTyped, names: dict[int, str]) -> str:
    return "\n".join(
        f"{names.get(row.service_id, 'a service no longer in use')}, {row.minutes} min"
        f"{f', {row.remark}' if row.remark else ''}"
        for row in typed.treatments
    )


def _minutes(visit_min: int | None) -> str:
    return "" if visit_min is None else f"{visit_min} min"


def _signs(typed: NoteTyped) -> str:
    return ", ".join(sorted(sign.label for sign in typed.signs))

"""What is typed on the visit page, and the small forms around it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils import timezone

from clinic.clients.forms.pieces import DayField
from clinic.common.choices import choices_of
from clinic.common.forms import PlainForm, form_layout
from clinic.visits.desk import VisitDesk
from clinic.visits.models import LONGEST_VISIT_MIN, VisitNote
from clinic.visits.note_sentences import sentence
from clinic.visits.red_flags import Sign
from clinic.visits.typed import NoteTyped, TreatmentTyped
from clinic.visits.words import Section, VisitKind

LONGEST_TEXT = 4000
LONGEST_REMARK = 200


@dataclass(frozen=True)
class Row:
    """One line of treatment as typed; `problem` is what keeps it from being saved."""

    service: str = ""
    minutes: str = ""
    remark: str = ""

    @property
    def is_empty(self) -> bool:
        return not (self.service or self.minutes or self.remark)

    @property
    def is_unfinished(self) -> bool:
        """Whether it only waits for its other half to be typed."""
        return not self.is_empty and not (self.service and self.minutes)

    @property
    def problem(self) -> str:
        if self.is_empty:
            return ""
        if not self.service.isdigit():
            return "Choose the service that these minutes went to."
        if not self.minutes:
            return "Type its minutes: without them the line is not saved."
        if not self.minutes.isdecimal() or not 1 <= int(self.minutes) <= LONGEST_VISIT_MIN:
            return f"Minutes are a whole number from 1 to {LONGEST_VISIT_MIN}."
        return ""

    def typed(self) -> TreatmentTyped:
        remark = self.remark[:LONGEST_REMARK]
        return TreatmentTyped(int(self.service), int(self.minutes), remark)


def rows_typed(posted: QueryDict) -> list[Row]:
    """The lines in the order of the page; those left empty are no lines."""
    columns = (posted.getlist(name) for name in ("service", "minutes", "remark"))
    rows = [Row(*(text.strip() for text in line)) for line in zip(*columns, strict=False)]
    return [row for row in rows if not row.is_empty]


def rows_kept(desk: VisitDesk) -> list[Row]:
    return [
        Row(str(line.service_id), str(line.minutes), line.remark) for line in desk.treatment.lines
    ]


def _text(section: Section) -> forms.CharField:
    attrs = {
        "form": "note-form",
        "rows": 3,
        "class": "form-control visit-text",
        "data-section": section.value,
        "id": section.value,
        "aria-describedby": f"tools-{section.value}",
    }
    return forms.CharField(
        required=False,
        max_length=LONGEST_TEXT,
        label=section.label.capitalize(),
        widget=forms.Textarea(attrs=attrs),
        error_messages={"max_length": f"At most {LONGEST_TEXT} characters fit here."},
    )


class NoteForm(PlainForm):
    """The whole note as it stands on the page. Fields carry `form`, for they stand apart."""

    sentence = staticmethod(sentence)

    revision = forms.IntegerField(min_value=0, widget=forms.HiddenInput())
    visit_min = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=LONGEST_VISIT_MIN,
        label="Minutes of the visit",
        widget=forms.TextInput(
            attrs={
                "form": "note-form",
                "id": "visit_min",
                "class": "form-control visit-minutes",
                "inputmode": "numeric",
                "autocomplete": "off",
            }
        ),
        error_messages={
            "invalid": "Minutes are a whole number.",
            "min_value": "A visit takes at least 1 minute.",
            "max_value": f"A visit takes at most {LONGEST_VISIT_MIN} minutes.",
        },
    )
    subjective = _text(Section.SUBJECTIVE)
    observations = _text(Section.OBSERVATIONS)
    response = _text(Section.RESPONSE)
    plan = _text(Section.PLAN)
    signs = forms.MultipleChoiceField(required=False, choices=choices_of(Sign), label="Signs")

    def __init__(self, *args: Any, note: VisitNote, **kwargs: Any) -> None:
        is_posted = bool(args or kwargs.get("data"))
        super().__init__(*args, initial={} if is_posted else _initial(note), **kwargs)
        self.note = note
        self.rows = rows_typed(self.data) if isinstance(self.data, QueryDict) else []

    def at_revision(self, revision: int) -> "NoteForm":
        """The same as typed, upon the revision that was just kept."""
        self.data = self.data.copy()
        self.data["revision"] = str(revision)
        return self

    @property
    def section_names(self) -> list[str]:
        return [section.value for section in Section]

    @property
    def bad_rows(self) -> list[tuple[int, Row]]:
        """Lines that cannot be saved, with their numbers from 1."""
        return [(number, row) for number, row in enumerate(self.rows, start=1) if row.problem]

    def typed(self) -> NoteTyped:
        """What of it can be kept: lines of treatment that are not whole are left out."""
        said = self.cleaned_data
        return NoteTyped(
            visit_min=said["visit_min"],
            sections={section: said[section.value] for section in Section},
            copied=frozenset(map(Section, self.note.copied)),
            treatments=tuple(row.typed() for row in self.rows if not row.problem),
            signs=frozenset(map(Sign, said["signs"])),
        )


def _initial(note: VisitNote) -> dict[str, Any]:
    texts = {section.value: getattr(note, section.value) for section in Section}
    return texts | {"revision": note.revision, "visit_min": note.visit_min, "signs": note.signs}


class NewVisitForm(PlainForm):
    """A visit charted without an appointment."""

    sentence = staticmethod(sentence)

    kind = forms.ChoiceField(choices=choices_of(VisitKind), label="What the visit was for")
    visited_on = DayField(label="Day of the visit")

    def __init__(self, *args: Any, kind: VisitKind, back: str, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"kind": kind.value, "visited_on": timezone.localdate()})
        super().__init__(*args, **kwargs)
        self.helper = form_layout(("kind", "visited_on"), save="Begin the note", back=back)

    def answer(self) -> tuple[VisitKind, date]:
        return VisitKind(self.cleaned_data["kind"]), self.cleaned_data["visited_on"]


class Keep(forms.ChoiceField):
    """Which of two versions of one part stays."""

    CHOICES = (("mine", "Keep yours"), ("theirs", "Keep theirs"), ("both", "Keep both"))

    def __init__(self) -> None:
        super().__init__(choices=self.CHOICES, required=False)


class SettleForm(PlainForm):
    """One choice for each part that differs. A part that is not chosen keeps both."""

    sentence = staticmethod(sentence)

    revision = forms.IntegerField(min_value=0)
    subjective = Keep()
    observations = Keep()
    response = Keep()
    plan = Keep()
    treatments = Keep()
    visit_min = Keep()
    signs = Keep()

    def typed(self, mine: NoteTyped, theirs: NoteTyped) -> NoteTyped:
        """The chosen text. What is no text and shall stay from both is put together."""
        chosen = self.cleaned_data
        return NoteTyped(
            visit_min=_one_of(chosen["visit_min"], mine.visit_min, theirs.visit_min),
            sections=dict(_sections(chosen, mine, theirs)),
            copied=frozenset(),
            treatments=_treatments(chosen["treatments"], mine, theirs),
            signs=_signs(chosen["signs"], mine, theirs),
        )


def _one_of(choice: str, mine: int | None, theirs: int | None) -> int | None:
    """One number cannot be two: yours unless theirs was chosen, never nothing for something."""
    first, second = (theirs, mine) if choice == "theirs" else (mine, theirs)
    return first if first is not None else second


def _sections(
    chosen: Mapping[str, str], mine: NoteTyped, theirs: NoteTyped
) -> Iterator[tuple[Section, str]]:
    for section in Section:
        own, other = mine.text(section), theirs.text(section)
        if section not in mine.sections or own == other:
            yield section, other
        elif chosen[section.value] == "mine":
            yield section, own
        elif chosen[section.value] == "theirs":
            yield section, other
        else:
            yield section, "\n\n".join(filter(None, (other, own)))


def _treatments(choice: str, mine: NoteTyped, theirs: NoteTyped) -> tuple[TreatmentTyped, ...]:
    if choice == "mine":
        return mine.treatments
    if choice == "theirs":
        return theirs.treatments
    added = tuple(row for row in mine.treatments if row not in theirs.treatments)
    return theirs.treatments + added


def _signs(choice: str, mine: NoteTyped, theirs: NoteTyped) -> frozenset[Sign]:
    return {"mine": mine.signs, "theirs": theirs.signs}.get(choice, mine.signs | theirs.signs)


class AddendumForm(PlainForm):
    sentence = staticmethod(sentence)

    text = forms.CharField(
        max_length=LONGEST_TEXT,
        label="What is added",
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Write what is to be added."},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout("text", save="Sign and add")
        self.helper.form_tag = False


class ActionForm(PlainForm):
    """What was done about a red flag."""

    sentence = staticmethod(sentence)

    kind = forms.CharField(max_length=20)
    action = forms.CharField(
        max_length=300,
        label="What was done",
        error_messages={"required": "Write what was done or who was told."},
    )


class RevisionForm(PlainForm):
    """The revision that was looked at before signing."""

    sentence = staticmethod(sentence)

    revision = forms.IntegerField(min_value=0, widget=forms.HiddenInput())

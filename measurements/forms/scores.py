"""Typing outcome scores: the chosen instrument's fields and no others."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils import timezone

from clinic.common.choices import choices_of
from clinic.common.errors import RuleBroken
from clinic.common.forms import DateInput, PlainForm
from measurements.forms.score_fields import (
    ACTIVITY_LENGTH,
    AnswersField,
    ScoreField,
    read_activities,
    read_answers,
    read_grid,
    read_ratings,
    read_total,
    read_trials,
)
from measurements.limb.instruments import Entry, Instrument, InstrumentSpec
from measurements.limb.outcome import GRIP_TRIALS, MOST_ACTIVITIES
from measurements.limb.score_errors import TrialsIncomplete
from measurements.score_sentences import sentence
from measurements.scored import SIDES, ScoresTaken, ScoreTaken

READERS: dict[Entry, Callable[[InstrumentSpec, Mapping[str, Any]], tuple[ScoreTaken, ...]]] = {
    Entry.RATINGS: read_ratings,
    Entry.ACTIVITIES: read_activities,
    Entry.ANSWERS: read_answers,
    Entry.TOTAL: read_total,
    Entry.GRID: read_grid,
    Entry.TRIALS: read_trials,
}


@dataclass(frozen=True)
class SheetRow:
    """One row of fields with its label."""

    label: str
    fields: tuple[forms.BoundField, ...]


class InstrumentForm(PlainForm):
    """Which instrument is scored."""

    instrument = forms.ChoiceField(choices=choices_of(Instrument), label="Instrument")


class ScoreForm(PlainForm):
    """One instrument's numbers of one day. Errors stand beside the number they are about."""

    sentence = staticmethod(sentence)

    scored_on = forms.DateField(label="Scored on", widget=DateInput)
    note = forms.CharField(required=False, max_length=300, label="Note")

    def __init__(
        self, *args: Any, spec: InstrumentSpec, activities: Sequence[str] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.spec = spec
        self.fields["scored_on"].initial = timezone.localdate
        for name, field in _fields(spec, activities).items():
            self.fields[name] = field
        for field in self.fields.values():
            is_number = isinstance(field, ScoreField) and bool(self.columns)
            field.widget.attrs["class"] = "form-control girth" if is_number else "form-control"

    def focus(self) -> None:
        """Put the cursor into the first empty number as the page opens, or the first to mend."""
        wrong = [name for name in self.fields if name in self.errors]
        empty = [name for name in _fields(self.spec, ()) if not self.fields[name].initial]
        self.fields[[*wrong, *empty][0]].widget.attrs["autofocus"] = True

    @property
    def columns(self) -> tuple[str, ...]:
        """The headings of the rows of fields; empty where fields stand one by one."""
        if self.spec.entry is Entry.ACTIVITIES:
            return ("Activity, in the client's words", "0 unable to 10 able")
        return tuple(side.label.capitalize() for side in SIDES) if self.spec.is_per_side else ()

    @property
    def rows(self) -> list[SheetRow]:
        named = _rows(self.spec) if self.columns else {}
        return [
            SheetRow(label, tuple(self[name] for name in names)) for label, names in named.items()
        ]

    @property
    def singles(self) -> list[forms.BoundField]:
        return [] if self.columns else [self[name] for name in _fields(self.spec, ())]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors:
            try:
                cleaned["scores"] = READERS[self.spec.entry](self.spec, cleaned)
            except RuleBroken as error:
                self.add_error(_field_of(error, cleaned), sentence(error))
        return cleaned

    def taken(self) -> ScoresTaken:
        """What a valid form says."""
        cleaned = self.cleaned_data
        return ScoresTaken(cleaned["scored_on"], cleaned["scores"], cleaned["note"])


class StrikeScoreForm(PlainForm):
    """Why a score is struck out."""

    sentence = staticmethod(sentence)

    reason = forms.CharField(
        max_length=200,
        label="Why is it struck out?",
        help_text="For example: left and right were swapped.",
    )


def _field_of(error: RuleBroken, cleaned: Mapping[str, Any]) -> str | None:
    """The field that mends it: of incomplete trials the first that is empty."""
    if isinstance(error, TrialsIncomplete):
        names = (f"{error.side}_{trial}" for trial in range(1, GRIP_TRIALS + 1))
        return next(name for name in names if cleaned[name] is None)
    return error.field


# The fields of each way of entry


def _fields(spec: InstrumentSpec, activities: Sequence[str]) -> dict[str, forms.Field]:
    if spec.entry is Entry.RATINGS:
        return {
            "now": ScoreField(spec, label="Pain now"),
            "usual": ScoreField(spec, label="Usual pain, last 24 hours"),
            "worst": ScoreField(spec, label="Worst pain, last 24 hours"),
        }
    if spec.entry is Entry.ACTIVITIES:
        return _activity_fields(spec, activities)
    if spec.is_per_side:
        return _sided_fields(spec)
    total = ScoreField(spec, label="Score, 0 to 100", help_text=_HELP[spec.entry])
    return {"answers": AnswersField(spec.items), "total": total} if spec.items else {"total": total}


_HELP = {
    Entry.ANSWERS: "Only where the answers are not at hand.",
    Entry.TOTAL: "As the questionnaire's own form works it out.",
}


def _activity_fields(spec: InstrumentSpec, activities: Sequence[str]) -> dict[str, forms.Field]:
    made: dict[str, forms.Field] = {}
    for number in range(1, MOST_ACTIVITIES + 1):
        words = activities[number - 1] if number <= len(activities) else ""
        made[f"activity_{number}"] = forms.CharField(
            required=False, max_length=ACTIVITY_LENGTH, label=f"Activity {number}", initial=words
        )
        made[f"able_{number}"] = ScoreField(spec, label=f"Activity {number}, 0 to 10")
    return made


def _sided_fields(spec: InstrumentSpec) -> dict[str, forms.Field]:
    """One number for each row and side; its part sets its range."""
    unit = f", {spec.unit}" if spec.unit else ""
    parts = {part.value: part for part in spec.parts}
    return {
        name: ScoreField(
            spec,
            part=parts.get(name.partition("_")[2]),
            label=f"{name.partition('_')[0].capitalize()}, {label.lower()}{unit}",
        )
        for label, names in _rows(spec).items()
        for name in names
    }


def _rows(spec: InstrumentSpec) -> dict[str, tuple[str, ...]]:
    """Row label -> the names of its fields."""
    if spec.entry is Entry.ACTIVITIES:
        numbers = range(1, MOST_ACTIVITIES + 1)
        return {str(number): (f"activity_{number}", f"able_{number}") for number in numbers}
    if spec.entry is Entry.TRIALS:
        trials = range(1, GRIP_TRIALS + 1)
        return {f"Trial {n}": tuple(f"{side}_{n}" for side in SIDES) for n in trials}
    return {
        part.label.capitalize(): tuple(f"{side}_{part}" for side in SIDES) for part in spec.parts
    }

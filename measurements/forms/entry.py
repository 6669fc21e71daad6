"""Forms of the entry screen: typed text becomes a session here and nowhere else."""

import re
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any
from uuid import UUID

from django import forms

from clinic.common.choices import choices_of
from clinic.common.errors import RuleBroken
from clinic.common.forms import DateInput, PlainForm, TimeInput
from clinic.common.vocabulary import Posture, Side, Word
from measurements.forms.girth_sheet import (
    COLUMN_ORDER,
    END_NAME,
    GIRTH_NAME,
    SURE_NAME,
    GirthSheet,
)
from measurements.limb.units import LengthUnit, WeightUnit
from measurements.models import Protocol
from measurements.sentences import sentence
from measurements.taped import SameDay, SessionTaped, TapedFacts
from measurements.typed_numbers import weight_typed

PLAIN_NAMES = frozenset(
    {
        "protocol",
        "sides",
        "trials",
        "length_unit",
        "weight_unit",
        "taken_on",
        "taken_at",
        "posture",
        "weight",
        "note",
        "corrects",
        "sure-open",
        "sure-left-over",
    }
)
# What a therapist has to have typed for a draft to be worth keeping.
WORTH_KEEPING = re.compile(r"girth-.*|end-.*|weight|note")
LONGEST_TEXT = 300


class Sides(Word):
    BOTH = "both", "both limbs"
    RIGHT = "right", "right only"
    LEFT = "left", "left only"

    @property
    def columns(self) -> tuple[Side, ...]:
        return COLUMN_ORDER if self is Sides.BOTH else (Side(self.value),)


def typed_from(posted: Mapping[str, str]) -> dict[str, str]:
    """Every known field of a posted page as plain text; what is not of the page is dropped."""
    return {
        name: str(text).replace("\0", "")[:LONGEST_TEXT]
        for name, text in posted.items()
        if name in PLAIN_NAMES
        or any(shape.fullmatch(name) for shape in (GIRTH_NAME, SURE_NAME, END_NAME))
    }


def is_worth_keeping(typed: Mapping[str, str]) -> bool:
    return any(text.strip() for name, text in typed.items() if WORTH_KEEPING.fullmatch(name))


def word_typed(words: type[Word], text: str | None, default: Any) -> Any:
    """The member that a text names, or the default."""
    return words(text) if text in {word.value for word in words} else default


class EntryForm(PlainForm):
    """The facts of a session around its girths. Bound only when it is to be recorded."""

    sentence = staticmethod(sentence)

    taken_on = forms.DateField(widget=DateInput(), label="Taken on")
    taken_at = forms.TimeField(widget=TimeInput(), required=False, label="Time")
    posture = forms.ChoiceField(choices=choices_of(Posture), label="Posture")
    protocol = forms.ChoiceField(label="Protocol")
    sides = forms.ChoiceField(choices=choices_of(Sides), label="Limbs")
    trials = forms.ChoiceField(
        choices=[("1", "once"), ("2", "twice"), ("3", "three times")], label="Each place taped"
    )
    length_unit = forms.ChoiceField(choices=choices_of(LengthUnit), label="Girths in")
    weight = forms.CharField(
        required=False,
        max_length=12,
        label="Body weight",
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    weight_unit = forms.ChoiceField(choices=choices_of(WeightUnit), label="Weight in")
    note = forms.CharField(required=False, max_length=300, label="Note")
    corrects = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, sheet: GirthSheet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sheet = sheet
        for field in self.fields.values():
            is_choice = isinstance(field, forms.ChoiceField)
            field.widget.attrs["class"] = "form-select" if is_choice else "form-control"

    def offer(self, protocols: Iterable[Protocol]) -> "EntryForm":
        """Let the person choose among these protocols."""
        offered = [(str(each.pk), each.name) for each in protocols]
        self.fields["protocol"] = forms.ChoiceField(
            choices=offered, label="Protocol", widget=forms.Select(attrs={"class": "form-select"})
        )
        return self

    def clean_weight(self) -> Decimal | None:
        text = self.cleaned_data["weight"]
        unit = word_typed(WeightUnit, self.data.get("weight_unit"), WeightUnit.KILOGRAM)
        try:
            return weight_typed(text, unit) if text else None
        except RuleBroken as error:
            raise forms.ValidationError(sentence(error)) from error

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if count := len(self.sheet.errors):
            many = "one field below needs" if count == 1 else f"{count} fields below need"
            self.add_error(None, f"Not saved yet: {many} another look. All you typed is kept.")
        return cleaned

    def taped(self) -> SessionTaped:
        """The session that a valid form describes."""
        cleaned, sheet = self.cleaned_data, self.sheet
        facts = TapedFacts(
            limb=sheet.setup.limb,
            protocol_id=UUID(cleaned["protocol"]),
            taken_on=cleaned["taken_on"],
            taken_at=cleaned["taken_at"],
            posture=Posture(cleaned["posture"]),
            weight_kg=cleaned["weight"],
            note=cleaned["note"],
        )
        return SessionTaped(
            facts=facts,
            sides=sheet.setup.sides,
            readings=sheet.readings,
            ends=sheet.ends,
            confirmed=sheet.confirmed,
            left_over=len(sheet.left_over),
        )


class Choice(Word):
    """What to do when somebody recorded the same limb for the same day."""

    KEEP = "keep", "keep theirs and drop mine"
    FURTHER = "further", "record mine as a further taping of that day"
    REPLACE = "replace", "put mine in its place"


class SameDayForm(PlainForm):
    """The choice between one's own session and those found there."""

    choice = forms.ChoiceField(choices=choices_of(Choice), widget=forms.RadioSelect)
    replaces = forms.UUIDField(required=False)
    seen = forms.CharField(required=False, max_length=2000)
    reason = forms.CharField(required=False, max_length=200)

    def clean_seen(self) -> frozenset[UUID]:
        try:
            return frozenset(UUID(each) for each in self.cleaned_data["seen"].split())
        except ValueError as error:
            raise forms.ValidationError("Choose again.") from error

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("choice") == Choice.REPLACE:
            if not cleaned.get("replaces"):
                self.add_error("replaces", "Say which session yours takes the place of.")
            if not cleaned.get("reason", "").strip():
                self.add_error("reason", "Say why the other session is struck out.")
        return cleaned

    def same_day(self) -> SameDay:
        cleaned = self.cleaned_data
        if cleaned["choice"] != Choice.REPLACE:
            return SameDay(seen=cleaned["seen"])
        return SameDay(cleaned["seen"], cleaned["replaces"], cleaned["reason"].strip())


class StrikeForm(PlainForm):
    """Why a session is struck out."""

    sentence = staticmethod(sentence)

    reason = forms.CharField(
        max_length=200,
        label="Why is it struck out?",
        help_text="For example: left and right were swapped.",
    )

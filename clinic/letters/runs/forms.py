"""Forms of the monthly run: which month, and one letter under review."""

from datetime import date
from typing import Any

from django import forms

from clinic.common.forms import PlainForm
from clinic.common.vocabulary import Word
from clinic.letters.forms import TextsForm
from clinic.letters.runs.sentences import sentence


class Act(Word):
    """What the reviewer pressed."""

    SAVE = "save", "save"
    APPROVE = "approve", "approve"
    HOLD = "hold", "hold"
    SKIP = "skip", "skip"


class MonthForm(PlainForm):
    """One of the months that have ended."""

    sentence = staticmethod(sentence)

    month = forms.TypedChoiceField(
        coerce=date.fromisoformat,
        error_messages={"invalid_choice": "Choose a month of the list, one that has ended."},
    )

    def __init__(self, *args: Any, months: list[date], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(month.isoformat(), f"{month:%B %Y}") for month in months]
        field: Any = self.fields["month"]
        field.choices = choices
        field.widget.attrs["class"] = "form-select"


class ReviewForm(TextsForm):
    """The texts of one letter, what the person saw printed, and what to do with it."""

    sentence = staticmethod(sentence)

    digest = forms.CharField(widget=forms.HiddenInput(), max_length=64, required=False)
    note = forms.CharField(
        max_length=200, required=False, label="Why (to skip; to hold, if you like)"
    )
    act = forms.ChoiceField(
        choices=[(act.value, act.label) for act in Act], required=False, initial=Act.SAVE
    )

    def chosen(self) -> Act:
        return Act(self.cleaned_data["act"] or Act.SAVE)

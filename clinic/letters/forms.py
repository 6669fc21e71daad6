"""Forms about letters: the period, and the free text."""

from datetime import datetime
from typing import Any

from django import forms

from clinic.common.forms import DateInput, PlainForm, PlainModelForm, form_layout
from clinic.letters.models import ProgressLetter
from clinic.letters.sentences import sentence
from clinic.letters.sheet import TEXT_FIELDS, Texts

ROWS = {"bottom_line": 3, "treatment": 3, "adherence": 2, "plan": 3, "request": 2}


class PeriodForm(PlainForm):
    """From when to when the letter reports."""

    sentence = staticmethod(sentence)

    period_from = forms.DateField(widget=DateInput(), label="From")
    period_to = forms.DateField(widget=DateInput(), label="To")

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(("period_from", "period_to"), save="Compile draft", back=back)


class TextsForm(PlainModelForm):
    """The free text of a draft, and the state of the draft it was typed over."""

    sentence = staticmethod(sentence)

    edited_at = forms.DateTimeField(widget=forms.HiddenInput())

    class Meta:
        model = ProgressLetter
        fields = TEXT_FIELDS
        help_texts = {
            "bottom_line": "Read first, often alone: better, same or worse, one number, how sure.",
            "adherence": "From the answers of the period, if any; add what the client told you.",
            "request": "Say what you need, or that nothing is needed.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["edited_at"].initial = self.instance.edited_at.isoformat()
        for name in TEXT_FIELDS:
            field = self.fields[name]
            limit = self.instance._meta.get_field(name).max_length
            field.widget = forms.Textarea(
                attrs={"rows": ROWS[name], "maxlength": limit, "data-counted": ""}
            )
            field.label = str(self.instance._meta.get_field(name).verbose_name).capitalize()

    def texts(self) -> Texts:
        """Line ends as one character, so that the count on screen is the count that is kept."""
        cleaned = self.cleaned_data
        return Texts(**{name: cleaned[name].replace("\r\n", "\n") for name in TEXT_FIELDS})

    def opened_at(self) -> datetime:
        found: datetime = self.cleaned_data["edited_at"]
        return found


class ApproveForm(PlainForm):
    """The digest of the sheet that the person looked at."""

    sentence = staticmethod(sentence)

    digest = forms.CharField(widget=forms.HiddenInput(), max_length=64)


class DiscardForm(PlainForm):
    """Nothing to type: the button is the answer."""

    sentence = staticmethod(sentence)

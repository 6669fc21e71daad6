"""Forms about letters: the period, and the free text."""

from datetime import datetime
from typing import Any

from django import forms

from clinic.common.choices import choices_of
from clinic.common.forms import DateInput, PlainForm, PlainModelForm, form_layout
from clinic.letters.kinds import LetterKind, heading
from clinic.letters.models import ProgressLetter
from clinic.letters.sentences import sentence
from clinic.letters.sheet import TEXT_FIELDS, Texts

ROWS = {
    "bottom_line": 4,
    "treatment": 3,
    "adherence": 2,
    "plan": 3,
    "request": 2,
    "response": 3,
    "skilled_need": 4,
    "self_care": 5,
}


class PeriodForm(PlainForm):
    """From when to when it reports, and of what kind it is."""

    sentence = staticmethod(sentence)

    period_from = forms.DateField(widget=DateInput(), label="From")
    period_to = forms.DateField(widget=DateInput(), label="To")
    kind = forms.TypedChoiceField(
        choices=choices_of(LetterKind),
        coerce=LetterKind,
        widget=forms.HiddenInput(),
        required=False,
        empty_value=LetterKind.LETTER,
    )

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            ("period_from", "period_to"), "kind", save="Compile draft", back=back
        )


class LinesField(forms.CharField):
    """Line ends as one character: as the count on screen counts them, and as they are kept."""

    def to_python(self, value: Any) -> str:
        typed: str = super().to_python(value)
        return typed.replace("\r\n", "\n")


class TextsForm(PlainModelForm):
    """The free texts of a draft's kind, and the state of the draft it was typed over."""

    sentence = staticmethod(sentence)

    edited_at = forms.DateTimeField(widget=forms.HiddenInput())

    class Meta:
        model = ProgressLetter
        fields = TEXT_FIELDS
        field_classes = dict.fromkeys(TEXT_FIELDS, LinesField)
        help_texts = {
            "bottom_line": "Read first, often alone: better, same or worse, one number, how sure.",
            "adherence": "From the answers of the period, if any; add what the client told you.",
            "request": "Say what you need, or that nothing is needed.",
            "response": "From the last signed note of the period, in the words written then.",
            "skilled_need": "In your own words: what the client could not do safely alone, and why"
            " a therapist's skill is needed for it. Asked for before approval.",
            "self_care": "From the home programme in hand and the garments in use.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kind = self.instance.kind_word
        self.fields["edited_at"].initial = self.instance.edited_at.isoformat()
        self.order_fields([*kind.texts, "edited_at"])
        for name in TEXT_FIELDS:
            if name not in kind.texts:
                del self.fields[name]
        for name in kind.texts:
            self._shape(name, heading(kind, name))

    def _shape(self, name: str, label: str) -> None:
        field = self.fields[name]
        limit = self.instance._meta.get_field(name).max_length
        attrs = {"rows": ROWS[name], "maxlength": limit, "data-counted": ""}
        field.widget = forms.Textarea(attrs=attrs)
        field.label = label

    def texts(self) -> Texts:
        cleaned = self.cleaned_data
        typed = {name: cleaned[name] for name in TEXT_FIELDS if name in cleaned}
        return Texts(**{"bottom_line": ""} | typed)

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

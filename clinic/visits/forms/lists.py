"""Forms about the clinic's services, phrases and rules for charting."""

from typing import Any

from django import forms

from clinic.common.forms import DateInput, PlainModelForm, form_layout
from clinic.visits.lists import ChartingRules, Phrase, Service
from clinic.visits.sentences import sentence


class ServiceForm(PlainModelForm):
    sentence = staticmethod(sentence)

    class Meta:
        model = Service
        fields = ["code", "name", "is_timed", "active_from", "active_until"]
        widgets = {"active_from": DateInput(), "active_until": DateInput()}
        help_texts = {
            "code": "As it stands on a claim.",
            "name": "In words of your own: it stands in notes beside the code.",
            "is_timed": "Off: one unit a day, whatever its minutes.",
            "active_until": "Leave empty while it is in use.",
        }

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            ("code", "name"), "is_timed", ("active_from", "active_until"), save="Save", back=back
        )

    def clean_code(self) -> str:
        return str(self.cleaned_data["code"]).upper()


class PhraseForm(PlainModelForm):
    sentence = staticmethod(sentence)

    class Meta:
        model = Phrase
        fields = ["section", "name", "text"]
        labels = {"section": "Part of the note"}
        widgets = {"text": forms.Textarea(attrs={"rows": 4})}
        help_texts = {
            "name": "What the button says.",
            "text": "A blank is a name in braces, as in {excess_ml}.",
        }

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(("section", "name"), "text", save="Save", back=back)


class RulesForm(PlainModelForm):
    sentence = staticmethod(sentence)

    class Meta:
        model = ChartingRules
        fields = ["timing_rule", "report_every_days", "certified_days"]
        help_texts = {
            "timing_rule": "The payer decides. Notes already signed keep the rule of their day.",
        }

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            "timing_rule", ("report_every_days", "certified_days"), save="Save", back=back
        )

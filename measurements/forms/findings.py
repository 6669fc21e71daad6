"""What was seen and felt on a region, and the stage decided on it."""

from typing import Any

from django import forms
from django.utils import timezone

from clinic.common.choices import choices_of
from clinic.common.errors import RuleBroken
from clinic.common.forms import DateInput, PlainForm
from clinic.common.vocabulary import Stage, Word
from measurements.limb.staging import (
    Elevation,
    Fibrosis,
    Findings,
    Pitting,
    SkinChange,
    Stemmer,
    Symptom,
)


def _answer(words: type[Word], label: str, help_text: str = "") -> forms.ChoiceField:
    """One answer of a list; "not tested" until somebody says otherwise."""
    return forms.ChoiceField(
        choices=choices_of(words),
        initial="not_tested",
        label=label,
        help_text=help_text,
        widget=forms.RadioSelect,
    )


def _several(words: type[Word], label: str) -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        choices=choices_of(words),
        required=False,
        label=label,
        widget=forms.CheckboxSelectMultiple,
    )


class FindingsForm(PlainForm):
    """Findings only: enough for a suggestion."""

    swelling_visible = forms.ChoiceField(
        choices=[("yes", "Yes"), ("no", "No")],
        label="Can swelling be seen?",
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether swelling can be seen."},
    )
    elevation = _answer(Elevation, "When the limb is raised, the swelling")
    pitting = _answer(
        Pitting,
        "Pitting under the thumb",
        "Depth after a press: one common variant of the scale, about 2, 3-4, 5-6, 8 mm or more."
        " Other sources print 2, 4, 6, 8 mm.",
    )
    stemmer = _answer(Stemmer, "Stemmer sign")
    fibrosis = _answer(Fibrosis, "Fibrosis")
    skin_changes = _several(SkinChange, "Skin changes")
    symptoms = _several(Symptom, "Symptoms reported")

    def __init__(self, *args: Any, stemmer_site: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if stemmer_site:
            self.fields[
                "stemmer"
            ].help_text = (
                f"Tested at the {stemmer_site}. A negative sign does not exclude lymphedema."
            )

    def findings(self) -> Findings:
        """The findings as typed; call on a valid form only."""
        typed = self.cleaned_data
        return Findings(
            swelling_visible=typed["swelling_visible"] == "yes",
            pitting=Pitting(typed["pitting"]),
            elevation=Elevation(typed["elevation"]),
            stemmer=Stemmer(typed["stemmer"]),
            fibrosis=Fibrosis(typed["fibrosis"]),
            skin_changes=frozenset(map(SkinChange, typed["skin_changes"])),
            symptoms=frozenset(map(Symptom, typed["symptoms"])),
        )


class DecisionForm(PlainForm):
    """The day, the stage decided, and why when it is not the suggested one."""

    found_on = forms.DateField(label="Found on", widget=DateInput)
    stage = forms.ChoiceField(
        choices=choices_of(Stage),
        label="Stage decided",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose the stage: yours is the decision that counts."},
    )
    override_reason = forms.CharField(
        max_length=300,
        required=False,
        label="Reason, if not the suggested stage",
    )
    note = forms.CharField(
        max_length=500, required=False, widget=forms.Textarea(attrs={"rows": 2}), label="Note"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["found_on"].initial = timezone.localdate

    def sentence(self, error: RuleBroken) -> str:
        """The words for a broken rule about findings."""
        return _sentence(error)


def _sentence(error: RuleBroken) -> str:
    if error.field == "found_on":
        return "Choose today or an earlier day, after the client's date of birth."
    suggested: Stage | None = getattr(error, "suggested", None)
    if suggested is None:
        return "No stage is suggested by these findings. Say in a few words why you chose this one."
    return (
        f"These findings suggest stage {suggested.label}. Say in a few words why you decided"
        " otherwise, or choose the suggested stage."
    )

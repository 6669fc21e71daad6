"""Forms about issuing, withdrawing, the clinic's exercises, precautions asked, and adherence."""

from collections.abc import Iterable, Sequence
from typing import Any

from django import forms
from django.utils import timezone

from clinic.clients.forms.pieces import DayField
from clinic.common.forms import PlainForm, PlainModelForm, form_layout
from clinic.common.vocabulary import Precaution
from programmes.body.dose import Dose
from programmes.body.precautions import EFFECTS, Block
from programmes.models import DAYS_ASKED, ClinicExercise
from programmes.sentences import sentence


def _dress(form: forms.BaseForm, *names: str) -> None:
    """Let fields that a template places itself look like those that a layout places."""
    for name in names:
        form.fields[name].widget.attrs["class"] = "form-control"


class IssueForm(PlainForm):
    """The revision that was looked at, and the reason where the programme is unsound."""

    sentence = staticmethod(sentence)

    revision = forms.IntegerField(widget=forms.HiddenInput())
    reason = forms.CharField(
        required=False,
        max_length=300,
        label="Why issue it all the same",
        widget=forms.Textarea(attrs={"rows": 2, "class": "form-control"}),
        help_text="Kept with the programme, with your name and today's date.",
    )


class WithdrawForm(PlainForm):
    sentence = staticmethod(sentence)

    reason = forms.CharField(max_length=300, label="Why is it withdrawn")

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout("reason", save="Withdraw the programme", back=back)


class ExerciseForm(PlainModelForm):
    sentence = staticmethod(sentence)

    class Meta:
        model = ClinicExercise
        fields = ["name", "position", "how", "dose", "suits", "is_offered"]
        labels = {"suits": "Suits"}

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            ("name", "suits"), "position", "how", "dose", "is_offered", save="Save", back=back
        )


class ReviewForm(PlainForm):
    """Every precaution as a question; those that stand already are not asked twice."""

    sentence = staticmethod(sentence)

    asked_on = DayField(label="Asked on")
    yes = forms.MultipleChoiceField(
        required=False,
        label="Yes to",
        widget=forms.CheckboxSelectMultiple(attrs={"class": "form-check-input"}),
    )
    note = forms.CharField(required=False, max_length=200, label="Note")

    def __init__(self, *args: Any, standing: Iterable[Precaution], **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"asked_on": timezone.localdate()})
        super().__init__(*args, **kwargs)
        _dress(self, "asked_on", "note")
        self.standing = [one for one in Precaution if one in set(standing)]
        asked = [(one.value, one.label.capitalize()) for one in Precaution]
        open_ones = {one.value for one in self.standing}
        self.fields["yes"].choices = [one for one in asked if one[0] not in open_ones]  # type: ignore[attr-defined]

    @property
    def groups(self) -> list[tuple[str, list[tuple[str, str, bool]]]]:
        """The questions by what a yes bars: heading, then value, words and whether ticked."""
        ticked = set(self["yes"].value() or ())
        grouped: dict[str, list[tuple[str, str, bool]]] = {}
        for value, label in self.fields["yes"].choices:  # type: ignore[attr-defined]
            heading = _heading(Precaution(value))
            grouped.setdefault(heading, []).append((value, label, value in ticked))
        return [(heading, grouped[heading]) for heading in HEADINGS if heading in grouped]

    def found(self) -> tuple[Precaution, ...]:
        return tuple(Precaution(value) for value in self.cleaned_data["yes"])


HEADINGS = ("Bars every step", "Neck", "Belly", "Limb, chest and others")


def _heading(precaution: Precaution) -> str:
    blocks = EFFECTS[precaution].blocks
    if Block.ALL_STEPS in blocks:
        return HEADINGS[0]
    if Block.NECK in blocks:
        return HEADINGS[1]
    return HEADINGS[2] if blocks & {Block.DEEP_BELLY, Block.BELLY_SKIN} else HEADINGS[3]


class AdherenceForm(PlainForm):
    """Days done of the last seven, and which steps are hard."""

    sentence = staticmethod(sentence)

    recorded_on = DayField(label="Told on")
    days_done = forms.TypedChoiceField(
        coerce=int,
        label=f"Days done of the last {DAYS_ASKED}",
        choices=[(days, str(days)) for days in range(DAYS_ASKED + 1)],
        widget=forms.RadioSelect(attrs={"class": "form-check-input"}),
    )
    hard = forms.TypedMultipleChoiceField(
        required=False,
        coerce=int,
        label="Which steps are hard",
        widget=forms.CheckboxSelectMultiple(attrs={"class": "form-check-input"}),
    )
    note = forms.CharField(required=False, max_length=300, label="Note")

    def __init__(self, *args: Any, places: Sequence[str], **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"recorded_on": timezone.localdate()})
        super().__init__(*args, **kwargs)
        _dress(self, "recorded_on", "note")
        self.places = list(places)
        numbered = enumerate(self.places, start=1)
        self.fields["hard"].choices = [(number, f"{number} {place}") for number, place in numbered]  # type: ignore[attr-defined]
        if not self.places:
            del self.fields["hard"]

    def hard_steps(self) -> list[dict[str, Any]]:
        chosen: list[int] = self.cleaned_data.get("hard", [])
        return [{"number": number, "place": self.places[number - 1]} for number in chosen]


COUNT_LABELS = {
    "breaths": "Breaths",
    "neck": "Circles at each place of the neck",
    "collarbone_hollow": "Circles in the hollow above the collarbone",
    "basin": "Circles at an armpit or groin",
    "trunk_strip": "Circles on each strip of the trunk",
    "limb_width": "Circles at each hand-width of a limb",
    "finger_passes": "Passes along each finger or toe",
    "sweep": "Long strokes up a limb",
    "bridge_again": "Long strokes along a bridge at the end",
    "times_a_day": "Times a day",
}


class CountsForm(PlainForm):
    """The clinic's default counts, each with the ranges of its sources."""

    def __init__(self, *args: Any, dose: Dose, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, count in dose.counts().items():
            ranges = [
                f"{who} {span}"
                for who, span in (("leaflets", count.leaflets), ("taught", count.taught))
                if span
            ]
            self.fields[name] = forms.IntegerField(
                label=COUNT_LABELS[name],
                initial=count.default,
                min_value=count.allowed.low,
                max_value=count.allowed.high,
                help_text=f"{', '.join(ranges).capitalize()} ({count.source}).",
            )
        names = list(self.fields)
        pairs = [tuple(names[at : at + 2]) for at in range(0, len(names), 2)]
        self.helper = form_layout(*pairs, save="Keep these counts", back=back)

"""The editor's one form: every step's fields, the rest of the programme, and what to do."""

from collections.abc import Sequence
from typing import Any

from django import forms

from clinic.common.forms import Catching, PlainForm
from programmes.body.steps import Step
from programmes.edits import REST, TEXTS, Act, Edit, Typed
from programmes.models import ClinicExercise, Programme
from programmes.sentences import sentence

BOX = {"class": "form-control"}
TICK = {"class": "form-check-input"}
ROWS = {"skin_care": 4, "wear_schedule": 4, "breathing": 2, "stop_and_call": 7}
HELP = {
    "skin_care": "One thought a line.",
    "wear_schedule": "When the garment or the bandage is on and off. One thought a line.",
    "breathing": "Breathing between the sessions. One thought a line.",
    "stop_and_call": "One sign a line. When to call for emergency help is always printed as well.",
}


class StepForm(forms.Form):
    """The fields of one step."""

    repetitions = forms.IntegerField(
        min_value=1,
        max_value=99,
        label="Count",
        widget=forms.TextInput(attrs={"inputmode": "numeric"} | BOX),
        error_messages={"invalid": "Type a whole number."},
    )
    minutes = forms.DecimalField(
        min_value=0,
        max_value=60,
        decimal_places=1,
        label="Minutes",
        widget=forms.TextInput(attrs={"inputmode": "decimal"} | BOX),
        error_messages={"invalid": "Type a number of minutes."},
    )
    note = forms.CharField(
        max_length=160,
        required=False,
        label="Note for the client",
        widget=forms.TextInput(attrs=BOX),
    )

    def typed(self) -> Typed:
        said = self.cleaned_data
        return Typed(said["repetitions"], float(said["minutes"]), said["note"])


def step_initial(step: Step) -> dict[str, Any]:
    return {
        "repetitions": step.repetitions,
        "minutes": f"{step.minutes:.1f}",
        "note": step.note,
    }


class EditorForm(PlainForm):
    """The rest of the programme, the revision it was typed over, and one act on a step."""

    sentence = staticmethod(sentence)

    revision = forms.IntegerField(widget=forms.HiddenInput())
    act = forms.CharField(required=False, widget=forms.HiddenInput())
    times_a_day = forms.IntegerField(
        min_value=1,
        max_value=4,
        label="Times a day",
        widget=forms.TextInput(attrs={"inputmode": "numeric"} | BOX),
    )
    measures_at_home = forms.BooleanField(required=False)
    exercise_ids = forms.TypedMultipleChoiceField(
        required=False,
        coerce=int,
        label="Exercises",
        widget=forms.CheckboxSelectMultiple(attrs=TICK),
    )

    def __init__(
        self, *args: Any, programme: Programme, exercises: Sequence[ClinicExercise], **kwargs: Any
    ) -> None:
        initial = {name: getattr(programme, name) for name in REST}
        kwargs["initial"] = initial | {"revision": programme.revision}
        super().__init__(*args, **kwargs)
        self.fields["exercise_ids"].choices = [(one.pk, one.name) for one in exercises]  # type: ignore[attr-defined]
        for name in TEXTS:
            self.fields[name] = _text_field(name)
        asked: Any = Programme._meta.get_field("measures_at_home")
        self.fields["measures_at_home"].label = str(asked.verbose_name).capitalize()

    def rest(self) -> dict[str, Any]:
        kept = {name: self.cleaned_data[name] for name in REST}
        return kept | {name: kept[name].replace("\r\n", "\n") for name in TEXTS}

    def told_act(self) -> tuple[Act | None, int, int]:
        """ "move-3-2" as typed by a button; anything else is a plain save."""
        word, _, rest = self.cleaned_data["act"].partition("-")
        numbers = [int(part) for part in rest.split("-") if part.isdigit()]
        if word not in {act.value for act in Act} or not numbers:
            return None, 0, 0
        return Act(word), numbers[0], numbers[-1]

    @property
    def texts(self) -> list[forms.BoundField]:
        return [self[name] for name in TEXTS]


def _text_field(name: str) -> forms.CharField:
    field: Any = Programme._meta.get_field(name)
    return forms.CharField(
        required=not field.blank,
        max_length=field.max_length,
        label=str(field.verbose_name).capitalize(),
        help_text=HELP[name],
        widget=forms.Textarea(attrs={"rows": ROWS[name]} | BOX),
    )


class Editor:
    """The form and the forms of all steps, as one."""

    def __init__(
        self,
        programme: Programme,
        steps: Sequence[Step],
        exercises: Sequence[ClinicExercise],
        posted: Any = None,
    ) -> None:
        self.form = EditorForm(posted, programme=programme, exercises=exercises)
        count = _step_count(posted) if posted is not None else len(steps)
        self.steps = [
            StepForm(
                posted,
                prefix=f"s{index}",
                initial=step_initial(steps[index]) if index < len(steps) else None,
            )
            for index in range(count)
        ]

    def is_valid(self) -> bool:
        return all([self.form.is_valid(), *(step.is_valid() for step in self.steps)])

    def edit(self) -> Edit:
        act, index, end = self.form.told_act()
        typed = tuple(step.typed() for step in self.steps)
        return Edit(typed=typed, rest=self.form.rest(), act=act, index=index, end=end)

    @property
    def revision(self) -> int:
        found: int = self.form.cleaned_data["revision"]
        return found

    @property
    def has_faults(self) -> bool:
        """True if what was typed for some step is not a count, minutes or a short note."""
        return any(step.errors for step in self.steps)


def _step_count(posted: Any) -> int:
    count = 0
    while f"s{count}-repetitions" in posted:
        count += 1
    return count


class RevisionForm(Catching, forms.Form):
    """A button that acts on the draft as it was seen."""

    sentence = staticmethod(sentence)

    revision = forms.IntegerField(widget=forms.HiddenInput())

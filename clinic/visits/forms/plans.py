"""Forms of a plan of care, its goals, its signature and its certification."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.forms import BaseFormSet, formset_factory
from django.utils import timezone

from clinic.clients.forms.pieces import DayField, rows_only
from clinic.common.choices import choices_of
from clinic.common.errors import RuleBroken
from clinic.common.forms import PlainForm, form_layout
from clinic.visits.goal_measures import Judged, every_score, judged_as
from clinic.visits.plan_errors import GoalUnfit
from clinic.visits.plan_sentences import sentence
from clinic.visits.plan_typed import MOST_GOALS, GoalTyped, PlanTyped
from clinic.visits.selectors.goal_values import Values, scores_taken
from clinic.visits.selectors.plans import PlanCard
from clinic.visits.services.goals import Reviewed
from clinic.visits.services.plans import Certified
from clinic.visits.words import GoalMeasure, GoalStatus

FEWEST_ROWS = 3
NUMBER: dict[str, Any] = {"max_digits": 8, "decimal_places": 2, "required": False}


class PlanForm(PlainForm):
    """What is planned, how often and for how long. Goals stand in rows of their own."""

    sentence = staticmethod(sentence)

    from_on = DayField(label="Period from")
    to_on = DayField(label="Period to")
    visits_a_week = forms.IntegerField(min_value=1, max_value=14, label="Visits a week")
    weeks = forms.IntegerField(min_value=1, max_value=52, label="For how many weeks")
    treatment = forms.CharField(
        max_length=2000,
        label="Treatment planned",
        help_text="Type and amount, in the words that the physician will read.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    outlook = forms.CharField(max_length=300, required=False, label="Expected outcome")
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, certified_days: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        days = f"One certification covers up to {certified_days} days."
        self.fields["to_on"].help_text = f"{self.fields['to_on'].help_text} {days}"
        self.helper = rows_only(
            "seen", ("from_on", "to_on"), ("visits_a_week", "weeks"), "treatment", "outlook"
        )


class GoalForm(forms.Form):
    """One goal; a row without a text is left out."""

    text = forms.CharField(max_length=240, required=False, label="Goal")
    judged = forms.ChoiceField(label="Judged by", required=False)
    baseline = forms.DecimalField(label="Baseline", **NUMBER)
    target = forms.DecimalField(label="Target", **NUMBER)
    due_on = DayField(required=False, label="By", help_text="")

    def __init__(self, *args: Any, choices: list[Any], values: Values, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.values = values
        self.fields["judged"].choices = choices  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.is_used:
            if cleaned.get("target") is not None:
                self.add_error("text", "Say what this target is for, or take it away.")
            return cleaned
        for field, need in (("judged", "Choose."), ("due_on", "Type the day it should be met by.")):
            if not cleaned.get(field) and field not in self.errors:
                self.add_error(field, need)
        return cleaned

    @property
    def is_used(self) -> bool:
        return bool(self.cleaned_data.get("text"))

    def goal(self) -> GoalTyped:
        """The goal as typed; an empty baseline of a measured one is the latest measured value."""
        said = self.cleaned_data
        judged = judged_as(said["judged"])
        baseline = said["baseline"]
        if baseline is None and (latest := self.values.get(judged.written)):
            baseline = judged.rounded(latest.value)
        return GoalTyped(said["text"], judged, said["due_on"], baseline, said["target"])


class GoalRows(BaseFormSet):  # type: ignore[type-arg]  # not subscriptable at run time
    """The goals of a plan, in order."""

    def goals(self) -> tuple[GoalTyped, ...]:
        return tuple(row.goal() for row in self._used())

    def _used(self) -> Iterator[GoalForm]:
        return (row for row in self.forms if row.is_used)

    def show(self, error: GoalUnfit) -> None:
        """Put a goal's broken rule beside its field."""
        row = list(self._used())[error.place]
        field = error.why.field
        row.add_error(field if field in row.fields else None, sentence(error.why))


GoalFormSet = formset_factory(
    GoalForm, formset=GoalRows, extra=0, max_num=MOST_GOALS, absolute_max=MOST_GOALS
)


def goal_rows_form(data: Any, *, initial: list[dict[str, Any]], values: Values) -> GoalRows:
    """Rows for the goals given and empty ones after them."""
    kwargs = {"choices": judged_choices(values), "values": values}
    spare: list[dict[str, Any]] = [{} for _ in range(max(FEWEST_ROWS - len(initial), 1))]
    shown = [*initial, *spare][:MOST_GOALS]
    rows = GoalFormSet(data, initial=shown, prefix="goals", form_kwargs=kwargs)
    return cast(GoalRows, rows)


def judged_choices(values: Values) -> list[Any]:
    """What a goal may be judged by; the scores of this episode before the others."""
    told = Judged(GoalMeasure.TOLD)
    tape = [
        (measure.value, measure.label[:1].upper() + measure.label[1:])
        for measure in GoalMeasure
        if measure not in {GoalMeasure.SCORE, GoalMeasure.TOLD}
    ]
    taken = set(scores_taken(values))
    scores = [(each.written, each.words) for each in every_score()]
    own = [choice for choice in scores if choice[0] in taken]
    others = [choice for choice in scores if choice[0] not in taken]
    groups = [("Limb volume", tape), ("Scores of this episode", own), ("Other scores", others)]
    listed = [(title, choices) for title, choices in groups if choices]
    return [("", "Choose"), (told.written, "The therapist's judgement"), *listed]


def goal_initial(goal: GoalTyped) -> dict[str, Any]:
    """A goal as the fields of its row show it."""
    return {
        "text": goal.text,
        "judged": goal.judged.written,
        "baseline": _bare(goal.baseline),
        "target": _bare(goal.target),
        "due_on": goal.due_on,
    }


def _bare(value: Decimal | None) -> str:
    """A kept number as a person types it: 10, not 10.00."""
    return "" if value is None else f"{value:.2f}".removesuffix("0").removesuffix(".0")


class PlanFields:
    """The form of a plan and the rows of its goals, which are sent together."""

    def __init__(
        self, posted: Any, *, begins: dict[str, Any], goals: list[dict[str, Any]], card: PlanCard
    ) -> None:
        days = card.rules.certified_days
        self.form = PlanForm(posted, initial=begins, certified_days=days)
        self.rows = goal_rows_form(posted, initial=goals, values=card.values)

    def is_valid(self) -> bool:
        return all([self.form.is_valid(), self.rows.is_valid()])

    def typed(self) -> PlanTyped:
        said = {name: value for name, value in self.form.cleaned_data.items() if name != "seen"}
        return PlanTyped(goals=self.rows.goals(), **said)

    @property
    def seen(self) -> str:
        """The digest of the draft that the person had open."""
        return str(self.form.cleaned_data["seen"])

    @contextmanager
    def catching(self) -> Iterator[None]:
        """Show a broken rule beside the goal's own field, or the plan's, or above the form."""
        try:
            yield
        except GoalUnfit as error:
            self.rows.show(error)
        except RuleBroken as error:
            field = error.field if error.field in self.form.fields else None
            self.form.add_error(field, sentence(error))

    def see(self, digest: str) -> None:
        """From now on this draft counts as looked at: saving once more replaces it."""
        self.form.data = dict(self.form.data.items()) | {"seen": digest}


class SeenForm(PlainForm):
    """Carries what was looked at, so that nothing else is signed."""

    sentence = staticmethod(sentence)
    seen = forms.CharField(widget=forms.HiddenInput)


class CertifyForm(PlainForm):
    sentence = staticmethod(sentence)

    certified_by = forms.CharField(
        max_length=120, label="Certified by", help_text="The name as it stands on the paper."
    )
    certified_on = DayField(label="Certified on")

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields = self.fields
        day = fields["certified_on"].help_text
        fields["certified_on"].help_text = f"The date beside the signature. {day}"
        self.helper = form_layout(("certified_by", "certified_on"), save="Note it", back=back)

    def certified(self) -> Certified:
        said = self.cleaned_data
        return Certified(said["certified_by"], said["certified_on"])


class EndPlanForm(PlainForm):
    sentence = staticmethod(sentence)

    ended_on = DayField(label="Last day of the plan")

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"ended_on": timezone.localdate()})
        super().__init__(*args, **kwargs)
        self.helper = form_layout("ended_on", save="End the plan", back=back)


class ReviewGoalForm(PlainForm):
    sentence = staticmethod(sentence)

    status = forms.ChoiceField(label="How it stands", choices=choices_of(GoalStatus))
    value = forms.DecimalField(label="Value", **NUMBER)
    reviewed_on = DayField(label="Reviewed on")
    remark = forms.CharField(max_length=240, required=False, label="Remark")

    def __init__(self, *args: Any, judged: Judged, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if judged.is_measured:
            self.fields["value"].help_text = f"{judged.words[:1].upper()}{judged.words[1:]}."
        rows = (("status", "reviewed_on"), ("value", "remark"))
        self.helper = form_layout(*rows, save="Keep the review", back=back)

    def reviewed(self) -> Reviewed:
        said = self.cleaned_data
        return Reviewed(
            GoalStatus(said["status"]), said["reviewed_on"], said["value"], said["remark"]
        )


def next_review(on: date, status: GoalStatus, value: Any) -> dict[str, Any]:
    """What a review begins with: today, the status offered, the value measured."""
    return {"reviewed_on": on, "status": status.value, "value": value}

"""Forms about an episode of care: its regions, people and phases."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.forms import BaseFormSet, formset_factory

from clinic.accounts.models import User
from clinic.clients.forms.pieces import (
    DIFFERENCES,
    EMPTY_CHOICE,
    ClientsForm,
    DayField,
    EditedTogether,
    ReferrerChoice,
    rows_only,
)
from clinic.clients.models import MIDLINE_REGIONS, AffectedRegion, Episode, Referrer
from clinic.common.choices import choices_of
from clinic.common.forms import form_layout
from clinic.common.vocabulary import Involvement, Phase, Region, RegionSide

SPARE_ROWS = 3
MOST_REGIONS = 12
FIRST_PHASES = [choice for choice in choices_of(Phase) if choice[0] != Phase.DISCHARGED]


class EpisodeForm(EditedTogether):
    """What an episode is about and who is in charge."""

    opened_on = DayField(label="Opened on")

    class Meta:
        model = Episode
        fields = [
            "opened_on",
            "cause",
            "diagnosis",
            "dominant_hand",
            "therapist",
            "referrer",
            "referral_reason",
        ]
        widgets = {"referral_reason": forms.Textarea(attrs={"rows": 2})}

    def __init__(
        self,
        *args: Any,
        therapists: QuerySet[User],
        referrers: QuerySet[Referrer],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["therapist"].queryset = therapists
        self.fields["referrer"] = ReferrerChoice(queryset=referrers, label="Referrer")
        self.fields["therapist"].empty_label = EMPTY_CHOICE
        self.helper = rows_only(
            DIFFERENCES,
            "before",
            ("opened_on", "cause"),
            "diagnosis",
            ("therapist", "dominant_hand"),
            "referrer",
            "referral_reason",
        )


class FirstPhaseForm(ClientsForm):
    """The phase an episode begins in."""

    phase = forms.ChoiceField(choices=FIRST_PHASES, label="First phase")
    reason = forms.CharField(max_length=300, label="Why this phase")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = rows_only(("phase", "reason"))


class PhaseForm(ClientsForm):
    """Another phase, from when and why."""

    phase = forms.ChoiceField(choices=[("", "Choose"), *choices_of(Phase)], label="New phase")
    since_on = DayField(label="From")
    reason = forms.CharField(max_length=300, label="Reason")

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(("phase", "since_on"), "reason", save="Change phase", back=back)


class RegionForm(forms.Form):
    """One region of an episode; a row without a region is left out."""

    region = forms.ChoiceField(choices=[("", "No region"), *choices_of(Region)], required=False)
    side = forms.ChoiceField(choices=[("", "Side"), *choices_of(RegionSide)], required=False)
    involvement = forms.ChoiceField(choices=choices_of(Involvement), required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("region") and "side" in cleaned:
            self._check_side(Region(cleaned["region"]), cleaned["side"])
        if cleaned.get("side") and cleaned.get("region") == "":
            self.add_error("region", "Choose the region as well, or take the side away.")
        return cleaned

    def _check_side(self, region: Region, side: str) -> None:
        if not side:
            self.add_error("side", "Choose the side.")
        elif side == RegionSide.MIDLINE and region not in MIDLINE_REGIONS:
            self.add_error("side", f"The {region.label} is left or right, never in the midline.")

    def chosen(self) -> AffectedRegion | None:
        """The row as an unsaved region, or None where no region is chosen."""
        answers = self.cleaned_data
        if not answers.get("region"):
            return None
        return AffectedRegion(
            region=answers["region"],
            side=answers["side"],
            involvement=answers.get("involvement") or Involvement.SWOLLEN,
        )


class RegionRows(BaseFormSet):  # type: ignore[type-arg]  # not subscriptable at run time
    """The rows of an episode's regions: at least one, none twice."""

    def clean(self) -> None:
        if any(self.errors):
            return
        seen: set[tuple[str, str]] = set()
        for row in self.forms:
            if (region := row.chosen()) and (region.region, region.side) in seen:
                row.add_error("region", f"The {region} is listed above already.")
            elif region:
                seen.add((region.region, region.side))
        if not seen:
            raise forms.ValidationError("Choose at least one region that is swollen or at risk.")

    def regions(self) -> list[AffectedRegion]:
        return [region for row in self.forms if (region := row.chosen())]


RegionFormSet = formset_factory(
    RegionForm, formset=RegionRows, extra=SPARE_ROWS, max_num=MOST_REGIONS, absolute_max=50
)

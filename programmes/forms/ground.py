"""What the clinician decides about a plan: basins, helper, routes, clearances, places left out."""

from typing import Any

from django import forms
from django.utils import timezone

from clinic.clients.forms.pieces import DayField
from clinic.common.forms import PlainForm
from clinic.common.vocabulary import Basin, Precaution, Side
from programmes.body.precautions import EFFECTS, Effect
from programmes.body.situation import Options
from programmes.body.territory import Kind, territory_map
from programmes.choices import BasinSide, Choices, Clearance
from programmes.sentences import sentence
from programmes.situations import Ground, treated_basins

TOUCHED = (Kind.BASIN, Kind.LIMB_SEGMENT, Kind.TERRITORY, Kind.HEAD_NECK_SEGMENT)
AS_RECORDED, WORKING, NOT_WORKING = "", "working", "not_working"


class GroundForm(PlainForm):
    """One field for each basin and side, each relative precaution, and the options."""

    sentence = staticmethod(sentence)

    revision = forms.IntegerField(widget=forms.HiddenInput(attrs={"id": "ground-revision"}))
    helper_available = forms.BooleanField(
        required=False, label="A helper reaches the client's back"
    )
    limb_by_therapist_only = forms.BooleanField(
        required=False, label="The swollen limb is left to the therapist"
    )
    lesser_routes = forms.BooleanField(
        required=False, label="Allow the lesser routes over the collarbones"
    )
    first_side = forms.ChoiceField(
        required=False,
        label="Side done first",
        choices=[("", "As affected"), ("right", "Right"), ("left", "Left")],
    )
    forbidden = forms.MultipleChoiceField(
        required=False,
        label="Places left out",
        help_text="For a wound, fragile skin or a device. Hold Ctrl to choose several.",
        widget=forms.SelectMultiple(attrs={"size": 6}),
    )

    def __init__(self, *args: Any, ground: Ground, revision: int, **kwargs: Any) -> None:
        self.ground = ground
        super().__init__(*args, initial=_initial(ground.choices, revision), **kwargs)
        self.fields["forbidden"].choices = _places()  # type: ignore[attr-defined]
        treated = treated_basins(ground.story)
        self.basin_names = [self._add_basin(one, treated) for one in _all_basins()]
        relative = [EFFECTS[one] for one in Precaution if one in ground.story.open_precautions]
        for field in self.fields.values():
            ticked = isinstance(field, forms.BooleanField)
            field.widget.attrs["class"] = "form-check-input" if ticked else "form-select"
        self.clearable = [effect for effect in relative if effect.may_be_cleared and effect.blocks]
        for effect in self.clearable:
            self._add_clearance(effect)

    def _add_basin(self, basin: BasinSide, treated: frozenset[BasinSide]) -> str:
        recorded = "not working" if basin in treated else "working"
        name = _basin_name(basin)
        self.fields[name] = forms.ChoiceField(
            required=False,
            label=f"{basin[1].label.capitalize()} {basin[0].label}",
            choices=[
                (AS_RECORDED, f"As recorded: {recorded}"),
                (WORKING, "Set to working"),
                (NOT_WORKING, "Set to not working"),
            ],
        )
        return name

    def _add_clearance(self, effect: Effect) -> None:
        by, on = _clearance_names(effect.precaution)
        self.fields[by] = forms.CharField(
            required=False,
            max_length=80,
            label=f"{effect.precaution.label.capitalize()}: cleared by",
        )
        self.fields[on] = DayField(required=False, label="On")

    @property
    def ticks(self) -> list[forms.BoundField]:
        return [
            self[name] for name in ("helper_available", "limb_by_therapist_only", "lesser_routes")
        ]

    @property
    def basins(self) -> list[forms.BoundField]:
        return [self[name] for name in self.basin_names]

    @property
    def clearances(self) -> list[tuple[Effect, forms.BoundField, forms.BoundField]]:
        return [
            (effect, *(self[name] for name in _clearance_names(effect.precaution)))  # type: ignore[misc]
            for effect in self.clearable
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for effect in self.clearable:
            by, on = _clearance_names(effect.precaution)
            if bool(cleaned.get(by)) != bool(cleaned.get(on)) and by in cleaned and on in cleaned:
                self.add_error(
                    by if not cleaned[by] else on, "Give both: who cleared it, and when."
                )
            elif cleaned.get(on) and cleaned[on] > timezone.localdate():
                self.add_error(on, "This day is still to come. Choose today or an earlier day.")
        return cleaned

    def choices(self) -> Choices:
        said = self.cleaned_data
        return Choices(
            options=Options(
                limb_by_therapist_only=said["limb_by_therapist_only"],
                lesser_routes=said["lesser_routes"],
                helper_available=said["helper_available"],
            ),
            working=self._set_to(WORKING),
            not_working=self._set_to(NOT_WORKING),
            clearances=tuple(self._clearances()),
            forbidden=frozenset(said["forbidden"]),
            first_side=Side(said["first_side"]) if said["first_side"] else None,
        )

    def _set_to(self, answer: str) -> frozenset[BasinSide]:
        return frozenset(
            basin for basin in _all_basins() if self.cleaned_data[_basin_name(basin)] == answer
        )

    def _clearances(self) -> list[Clearance]:
        found = []
        for effect in self.clearable:
            by, on = (self.cleaned_data[name] for name in _clearance_names(effect.precaution))
            if by and on:
                found.append(Clearance(effect.precaution, by, on))
        return found


def _initial(choices: Choices, revision: int) -> dict[str, Any]:
    initial: dict[str, Any] = {
        "revision": revision,
        "helper_available": choices.options.helper_available,
        "limb_by_therapist_only": choices.options.limb_by_therapist_only,
        "lesser_routes": choices.options.lesser_routes,
        "first_side": choices.first_side.value if choices.first_side else "",
        "forbidden": sorted(choices.forbidden),
    }
    initial |= {_basin_name(one): WORKING for one in choices.working}
    initial |= {_basin_name(one): NOT_WORKING for one in choices.not_working}
    for one in choices.clearances:
        by, on = _clearance_names(one.precaution)
        initial |= {by: one.cleared_by, on: one.cleared_on}
    return initial


def _all_basins() -> list[BasinSide]:
    order = (Basin.AXILLA, Basin.GROIN, Basin.SUPRACLAV, Basin.CERVICAL)
    return [(basin, side) for basin in order for side in (Side.RIGHT, Side.LEFT)]


def _basin_name(basin: BasinSide) -> str:
    return f"basin_{basin[0].value}_{basin[1].value}"


def _clearance_names(precaution: Precaution) -> tuple[str, str]:
    return f"by_{precaution.value}", f"on_{precaution.value}"


def _places() -> list[tuple[str, str]]:
    places = territory_map().places.values()
    named = [
        (one.id, one.plain[:1].upper() + one.plain[1:]) for one in places if one.kind in TOUCHED
    ]
    return sorted(named, key=lambda one: one[1])

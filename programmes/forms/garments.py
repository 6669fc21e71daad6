"""Forms about garments: what was ordered and issued, how it fits, that it ended."""

from typing import Any

from django import forms
from django.utils import timezone

from clinic.clients.forms.pieces import DayField
from clinic.common.choices import choices_of
from clinic.common.forms import PlainForm, PlainModelForm, form_layout
from clinic.common.vocabulary import RegionSide
from programmes.applied import Seen
from programmes.compression.classes import BY_KEY, ClassSystem, classes_of
from programmes.compression.replacement import EARLIER, USUAL_MONTHS
from programmes.compression.words import MIDLINE_PARTS, EndReason, FitSeen
from programmes.garments import HIGHEST_MMHG
from programmes.models import Garment
from programmes.sentences import sentence

OTHER = ClassSystem.MAKER.value
ROWS = (
    ("part", "side"),
    ("worn_by", "make"),
    "compression",
    ("from_mmhg", "to_mmhg"),
    ("supplier", "size"),
    ("ordered_on", "issued_on"),
    ("replacement_due_on", "cost_note"),
)


def class_choices() -> list[tuple[str, Any]]:
    """Every class under its standard, then the maker's own pressure."""
    grouped = [
        (system.label, [(each.key, each.label.capitalize()) for each in classes_of(system)])
        for system in ClassSystem
        if system is not ClassSystem.MAKER
    ]
    return [("", "Choose"), *grouped, (OTHER, "Maker's own: type the pressure below")]


class GarmentForm(PlainModelForm):
    """One garment. The class is chosen with its standard, so that the pressure is never guessed."""

    sentence = staticmethod(sentence)

    compression = forms.ChoiceField(
        label="Class",
        help_text="The same class number means another pressure in another standard.",
    )
    from_mmhg = forms.IntegerField(
        required=False, min_value=1, max_value=HIGHEST_MMHG, label="Pressure from, mmHg"
    )
    to_mmhg = forms.IntegerField(
        required=False, min_value=1, max_value=HIGHEST_MMHG, label="Pressure to, mmHg"
    )
    ordered_on = DayField(required=False, label="Ordered on")
    issued_on = DayField(required=False, label="Issued on", help_text="When the client got it.")
    replacement_due_on = DayField(
        required=False,
        label="Replacement due on",
        help_text=f"Empty: {USUAL_MONTHS} months after the issue. {EARLIER}",
    )

    class Meta:
        model = Garment
        fields = [
            "part",
            "side",
            "worn_by",
            "make",
            "supplier",
            "size",
            "ordered_on",
            "issued_on",
            "replacement_due_on",
            "cost_note",
        ]

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("part", "side", "worn_by", "make"):
            self.fields[name].choices = [("", "Choose"), *self.fields[name].choices[1:]]  # type: ignore[attr-defined]
        self.fields["compression"].choices = class_choices()  # type: ignore[attr-defined]
        self.fields["from_mmhg"].help_text = "Only for a maker's own."
        if self.instance.from_mmhg:
            self.initial.update(_class_shown(self.instance))
        self.helper = form_layout(*ROWS, save="Save", back=back)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("compression") == OTHER:
            self._check_band(cleaned)
        if cleaned.get("side") == RegionSide.MIDLINE and cleaned.get("part") not in MIDLINE_PARTS:
            self.add_error("side", "Say left or right for this body part.")
        if not (self.errors or cleaned.get("ordered_on") or cleaned.get("issued_on")):
            self.add_error("ordered_on", "Type the day it was ordered, or the day it was issued.")
        return cleaned

    def _check_band(self, cleaned: dict[str, Any]) -> None:
        from_mmhg, to_mmhg = cleaned.get("from_mmhg"), cleaned.get("to_mmhg")
        if from_mmhg is None and "from_mmhg" not in self.errors:
            self.add_error("from_mmhg", "Type the pressure that the maker states.")
        if from_mmhg and to_mmhg and to_mmhg < from_mmhg:
            self.add_error("to_mmhg", "This is less than the pressure it begins with.")

    def _get_validation_exclusions(self) -> set[str]:
        """Days are set against one another by the service, which says beside which field."""
        return super()._get_validation_exclusions() | {"issued_on", "replacement_due_on"}

    def garment(self) -> Garment:
        """The garment as typed, with standard, class and mmHg together."""
        said: dict[str, Any] = self.cleaned_data
        garment: Garment = self.instance
        chosen = BY_KEY.get(said["compression"])
        garment.class_system = chosen.system if chosen else ClassSystem.MAKER
        garment.class_name = chosen.name if chosen else ""
        garment.from_mmhg = chosen.from_mmhg if chosen else said["from_mmhg"]
        garment.to_mmhg = chosen.to_mmhg if chosen else said["to_mmhg"]
        return garment


def _class_shown(garment: Garment) -> dict[str, Any]:
    """What the fields of the class show for a kept garment."""
    key = f"{garment.class_system}:{garment.class_name}"
    if key in BY_KEY:
        return {"compression": key}
    return {"compression": OTHER, "from_mmhg": garment.from_mmhg, "to_mmhg": garment.to_mmhg}


class FitCheckForm(PlainForm):
    sentence = staticmethod(sentence)

    checked_on = DayField(label="Checked on")
    verdict = forms.ChoiceField(label="Fit", choices=[("", "Choose"), *choices_of(FitSeen)])
    note = forms.CharField(required=False, max_length=300, label="Note")

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"checked_on": timezone.localdate()})
        super().__init__(*args, **kwargs)
        self.helper = form_layout(("checked_on", "verdict"), "note", save="Save", back=back)

    def seen(self) -> Seen:
        said = self.cleaned_data
        return Seen(said["checked_on"], FitSeen(said["verdict"]), said["note"])


class EndForm(PlainForm):
    sentence = staticmethod(sentence)

    ended_on = DayField(label="Not in use since")
    reason = forms.ChoiceField(label="Why", choices=[("", "Choose"), *choices_of(EndReason)])

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"ended_on": timezone.localdate()})
        super().__init__(*args, **kwargs)
        self.helper = form_layout(("ended_on", "reason"), save="Note the end", back=back)

    def ending(self) -> dict[str, Any]:
        return {
            "ended_on": self.cleaned_data["ended_on"],
            "reason": EndReason(self.cleaned_data["reason"]),
        }

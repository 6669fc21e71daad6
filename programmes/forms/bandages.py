"""How a limb is bandaged, row by row, innermost bandage first."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone

from clinic.clients.forms.pieces import DayField
from clinic.common.forms import PlainForm
from clinic.common.vocabulary import Limb, Side
from programmes.applied import Bandaging, Wound
from programmes.compression.arterial import HIGHEST_ABPI
from programmes.compression.pressure import LAYERS_IN_WORDS, Bandage
from programmes.garments import STRONGEST_KGF, WIDEST_CM
from programmes.models import BandageRecord
from programmes.sentences import sentence

# Rows shown at least, spare ones below the filled, and the most that are read.
FEWEST_ROWS, SPARE_ROWS, MOST_ROWS = 5, 2, 12
NEEDED = {
    "material": "Say which bandage.",
    "width_cm": "Type the width in cm.",
    "tension_kgf": "Type the pull in kgf, such as 0.5.",
    "layers": "Choose how often it lies over a place.",
}


class NumberField(forms.DecimalField):
    """A number with a point or a comma, typed as text so that nothing is lost."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("error_messages", {"invalid": "Type a number."})
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> Any:
        return super().to_python(value.strip().replace(",", ".") if value else value)


class LayerForm(PlainForm):
    """One bandage. An empty row is no bandage."""

    material = forms.CharField(required=False, max_length=80, label="Bandage")
    width_cm = NumberField(label="Width, cm", min_value=1, max_value=WIDEST_CM, decimal_places=1)
    tension_kgf = NumberField(
        label="Pull, kgf", min_value=Decimal("0.01"), max_value=STRONGEST_KGF, decimal_places=2
    )
    layers = forms.TypedChoiceField(
        required=False,
        coerce=int,
        empty_value=None,
        label="Layers",
        choices=[("", "Choose"), *LAYERS_IN_WORDS.items()],
    )
    from_cm = NumberField(label="From level, cm", min_value=0, max_value=120, decimal_places=1)
    to_cm = NumberField(label="To level, cm", min_value=0, max_value=120, decimal_places=1)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            kind = "form-select" if name == "layers" else "form-control"
            field.widget.attrs |= {"class": kind, "aria-label": field.label}

    @property
    def is_empty(self) -> bool:
        return not any(self[name].value() for name in self.fields)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if self.is_empty:
            return cleaned
        for name, message in NEEDED.items():
            if not cleaned.get(name) and name not in self.errors:
                self.add_error(name, message)
        from_cm, to_cm = cleaned.get("from_cm"), cleaned.get("to_cm")
        if from_cm is not None and to_cm is not None and to_cm <= from_cm:
            self.add_error("to_cm", "This must lie above the level it begins at.")
        return cleaned


class BandagingForm(PlainForm):
    """The day, the note, for a leg the ABPI, and the rows."""

    sentence = staticmethod(sentence)

    applied_on = DayField(label="Bandaged on")
    abpi = NumberField(
        label="ABPI of this leg",
        min_value=Decimal("0.01"),
        max_value=HIGHEST_ABPI,
        decimal_places=2,
        help_text="If it is known, such as 0.95.",
    )
    note = forms.CharField(required=False, max_length=300, label="Note")

    def __init__(
        self,
        sent: Any = None,
        *,
        limb: Limb,
        side: Side,
        before: BandageRecord | None = None,
    ) -> None:
        super().__init__(sent, initial={"applied_on": timezone.localdate()})
        self.limb, self.side = limb, side
        if limb is not Limb.LEG:
            del self.fields["abpi"]
        for field in self.fields.values():
            field.widget.attrs["class"] = "form-control"
        shown = _shown(before)
        self.rows = [
            LayerForm(sent, prefix=f"b{at}", initial=shown[at] if at < len(shown) else None)
            for at in range(_row_count(sent, len(shown)))
        ]

    def is_valid(self) -> bool:
        rows_are_valid = all([row.is_valid() for row in self.rows])
        return super().is_valid() and rows_are_valid

    def wound(self) -> tuple[Wound, ...]:
        """The rows that hold a bandage and nothing wrong, innermost first."""
        if not self.is_bound:
            return ()
        return tuple(
            Wound(**row.cleaned_data) for row in self.rows if row.is_valid() and not row.is_empty
        )

    def bandages(self) -> tuple[Bandage, ...]:
        """The same as the pure bandages that pressures are computed from."""
        return tuple(each.bandage for each in self.wound())

    def bandaging(self) -> Bandaging:
        said = self.cleaned_data
        return Bandaging(
            limb=self.limb,
            side=self.side,
            applied_on=said["applied_on"],
            wound=self.wound(),
            abpi=said.get("abpi"),
            note=said["note"],
        )


def _row_count(sent: Any, filled: int) -> int:
    """Rows enough for what was sent, or else for what is shown, with some to spare."""
    if sent:
        typed = (
            at + 1
            for at in range(MOST_ROWS)
            if any(sent.get(f"b{at}-{name}") for name in LayerForm.base_fields)
        )
        filled = max(typed, default=0)
    return min(MOST_ROWS, max(FEWEST_ROWS, filled + SPARE_ROWS))


def _shown(before: BandageRecord | None) -> list[dict[str, Any]]:
    """The bandages of an earlier day as the fields show them."""
    if before is None:
        return []
    return [
        {
            "material": each.material,
            "width_cm": _plain(each.width_cm),
            "tension_kgf": _plain(each.tension_kgf),
            "layers": each.layers,
            "from_cm": _plain(each.from_cm),
            "to_cm": _plain(each.to_cm),
        }
        for each in before.layers.all()
    ]


def _plain(number: Decimal | None) -> str:
    return "" if number is None else f"{float(number):g}"

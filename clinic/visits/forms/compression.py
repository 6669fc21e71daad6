"""Which limb is bandaged or fitted, and the girths of a fitting form."""

from collections.abc import Iterable, Sequence
from typing import Any

from django import forms

from clinic.common.choices import choices_of
from clinic.common.forms import PlainForm
from clinic.common.vocabulary import Limb, Side
from programmes.forms.bandages import NumberField
from programmes.models import SizeChart

SMALLEST_CM, LARGEST_CM = 1, 300


class LimbForm(PlainForm):
    """Limb and side in the address; anything else falls back to the usual ones."""

    limb = forms.TypedChoiceField(coerce=Limb, choices=choices_of(Limb), label="Limb")
    side = forms.TypedChoiceField(coerce=Side, choices=choices_of(Side), label="Side")

    def __init__(self, sent: Any, *, usual: tuple[Limb, Side]) -> None:
        limb, side = usual
        super().__init__({"limb": limb, "side": side} | {key: sent[key] for key in sent})
        for field in self.fields.values():
            field.widget.attrs["class"] = "form-select"
        self.usual = usual

    def chosen(self) -> tuple[Limb, Side]:
        if not self.is_valid():
            return self.usual
        return self.cleaned_data["limb"], self.cleaned_data["side"]


class PlacesForm(PlainForm):
    """A girth for each place of a chart; an empty field takes the one that was taped."""

    def __init__(self, sent: Any, *, places: Iterable[str]) -> None:
        self.places = list(places)
        super().__init__(sent)
        for at, place in enumerate(self.places):
            self.fields[f"place{at}"] = NumberField(
                label=place, min_value=SMALLEST_CM, max_value=LARGEST_CM, decimal_places=2
            )
            self.fields[f"place{at}"].widget.attrs["class"] = "form-control"

    def typed(self) -> dict[str, float | None]:
        """Place -> girth in cm where one was typed and can be read."""
        self.is_valid()
        found = ((place, self._typed(at)) for at, place in enumerate(self.places))
        return dict(found)

    def _typed(self, at: int) -> float | None:
        girth_cm = self.cleaned_data.get(f"place{at}")
        return None if girth_cm is None else float(girth_cm)

    @property
    def shown(self) -> list[Any]:
        """The fields in the order of the places."""
        return [self[f"place{at}"] for at in range(len(self.places))]


def chart_asked(sent: Any, charts: Sequence[SizeChart]) -> SizeChart | None:
    """The chart named in the address, else the first that is offered."""
    named = [each for each in charts if str(each.pk) == sent.get("chart")]
    return next(iter([*named, *charts]), None)

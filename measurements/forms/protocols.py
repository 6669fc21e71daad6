"""Forms about protocols: text becomes levels here."""

from decimal import Decimal
from itertools import pairwise
from typing import Any

from crispy_forms.layout import Fieldset
from django import forms

from clinic.common.choices import choices_of
from clinic.common.errors import RuleBroken
from clinic.common.forms import PlainForm, form_layout
from clinic.common.vocabulary import Limb, Word
from measurements.limb.errors import GirthError
from measurements.limb.levels import EndHandling, ProtocolSpec, levels_cm, station_labels
from measurements.models import Protocol
from measurements.protocol_plan import ProtocolPlan
from measurements.sentences import sentence
from measurements.typed_numbers import number_typed

# The longest list a screen and a hand can follow; common practice, no source.
MOST_STATIONS = 40
HIGHEST_LEVEL_CM = 120


class Way(Word):
    """How the tape positions are found."""

    SPACED = "spaced", "at even distances"
    NAMED = "named", "at named landmarks"


class LengthField(forms.CharField):
    """A length in cm with a decimal point or comma, to 1 mm."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(widget=widget, max_length=12, **kwargs)

    def clean(self, value: Any) -> float | None:
        text = super().clean(value)
        return _level(text) if text else None


class ProtocolForm(PlainForm):
    """Where the tape goes: at even distances, or at named landmarks with their levels."""

    sentence = staticmethod(sentence)

    name = forms.CharField(max_length=60)
    limb = forms.ChoiceField(choices=choices_of(Limb))
    start_landmark = forms.CharField(
        max_length=45,
        help_text="The fixed point that positions are counted from, such as ulnar styloid.",
    )
    end_handling = forms.ChoiceField(choices=choices_of(EndHandling), label="Hand or foot")
    way = forms.ChoiceField(
        choices=choices_of(Way), widget=forms.RadioSelect, label="Tape positions", initial="spaced"
    )
    offset = LengthField(required=False, label="First position, cm above the start", initial="0")
    spacing = LengthField(required=False, label="Distance between positions, cm", initial="4")
    station_count = forms.IntegerField(
        required=False, min_value=2, max_value=MOST_STATIONS, label="Number of positions"
    )
    landmarks = forms.CharField(
        required=False,
        widget=forms.Textarea(attrs={"rows": 6}),
        max_length=4000,
        label="Landmarks",
        help_text="One a line: centimetres above the start, then its name. 0 wrist crease",
    )

    def __init__(self, *args: Any, save: str = "Save protocol", back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            ("name", "limb"),
            "start_landmark",
            "end_handling",
            "way",
            Fieldset("At even distances", "offset", "spacing", "station_count"),
            Fieldset("At named landmarks", "landmarks"),
            save=save,
            back=back,
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors:
            try:
                cleaned["stations"] = self._stations(cleaned)
            except RuleBroken as error:
                self.add_error(_field_of(error, cleaned["way"]), sentence(error))
        return cleaned

    def plan(self) -> ProtocolPlan:
        """What a valid form asks for."""
        cleaned = self.cleaned_data
        return ProtocolPlan(
            name=cleaned["name"],
            limb=Limb(cleaned["limb"]),
            start_landmark=cleaned["start_landmark"],
            end_handling=EndHandling(cleaned["end_handling"]),
            stations=cleaned["stations"],
        )

    def _stations(self, cleaned: dict[str, Any]) -> tuple[tuple[float, str], ...]:
        named = cleaned["way"] == Way.NAMED
        spec = ProtocolSpec(
            limb=Limb(cleaned["limb"]),
            start_landmark=cleaned["start_landmark"],
            offset_cm=0 if named else cleaned["offset"] or 0,
            spacing_cm=1 if named else cleaned["spacing"] or 0,
            station_count=0 if named else cleaned["station_count"] or 0,
            landmarks=self._landmarks(cleaned["landmarks"]) if named else (),
        )
        levels, labels = levels_cm(spec), station_labels(spec)
        if levels[-1] > HIGHEST_LEVEL_CM:
            raise forms.ValidationError(
                f"The last position would be {levels[-1]:g} cm above the start; at most"
                f" {HIGHEST_LEVEL_CM} cm can be kept."
            )
        return tuple((level, labels[level]) for level in levels)

    def _landmarks(self, text: str) -> tuple[tuple[str, float], ...]:
        lines = [line.split(maxsplit=1) for line in text.splitlines() if line.strip()]
        if len(lines) > MOST_STATIONS:
            raise _landmark_problem(f"At most {MOST_STATIONS} landmarks; here are {len(lines)}.")
        if any(len(line) < 2 or len(line[1]) > 60 for line in lines):
            raise _landmark_problem(
                "Each line needs the centimetres and then a name of at most 60 letters, such as"
                " 0 wrist crease."
            )
        marks = tuple((name, _level(level)) for level, name in lines)
        if len({level for _, level in marks}) < len(marks):
            raise _landmark_problem("Two landmarks lie at the same height. Change one of them.")
        return marks


def values_of(protocol: Protocol) -> dict[str, Any]:
    """A protocol as the form shows it: evenly spaced when its stations are."""
    stations = list(protocol.stations.all())
    levels = [station.level_cm for station in stations]
    steps = {high - low for low, high in pairwise(levels)}
    shown = {
        "name": protocol.name,
        "limb": protocol.limb,
        "start_landmark": protocol.start_landmark,
        "end_handling": protocol.end_handling,
    }
    plain = all(_is_plain(station.label) for station in stations)
    if len(steps) == 1 and plain:
        return shown | {
            "way": Way.SPACED,
            "offset": _plain(levels[0]),
            "spacing": _plain(steps.pop()),
            "station_count": len(levels),
        }
    lines = (f"{_plain(station.level_cm)} {station.label}" for station in stations)
    return shown | {"way": Way.NAMED, "landmarks": "\n".join(lines)}


def _plain(length_cm: Decimal) -> str:
    """4.0 -> 4: without needless zeros."""
    return f"{float(length_cm):g}"


def _is_plain(label: str) -> bool:
    """Whether a station's label was made from its level, so the form need not keep it."""
    return label.startswith("at ") or " cm" in label


def _level(text: str) -> float:
    """A typed level in cm, to 1 mm, as the database keeps it."""
    try:
        level = number_typed(text)
    except RuleBroken as error:
        raise forms.ValidationError(sentence(error)) from error
    if level != round(level, 1):
        raise forms.ValidationError(f"{text} is finer than 1 mm: one decimal place is enough.")
    return float(level)


def _landmark_problem(text: str) -> forms.ValidationError:
    return forms.ValidationError({"landmarks": text})


def _field_of(error: RuleBroken, way: str) -> str:
    if way == Way.NAMED:
        return "landmarks"
    name = getattr(error, "problem", None) or getattr(error, "name", "")
    known = {"offset_cm": "offset", "spacing_cm": "spacing", "station_count": "station_count"}
    return known.get(name, "station_count") if isinstance(error, GirthError) else "station_count"

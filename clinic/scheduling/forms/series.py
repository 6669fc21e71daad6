"""A series: who, when first, how many weeks on which weekdays; then a decision for each date."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar

from django import forms

from clinic.clients.forms.pieces import DayField
from clinic.scheduling.forms.booking import BookingForm
from clinic.scheduling.forms.free_times import WeekdaysField
from clinic.scheduling.recurrence import Stretch, rule_text
from clinic.scheduling.series_plan import PlannedDate
from clinic.scheduling.slots import NEVER, Offer
from clinic.scheduling.spans import moment

STRETCHES = (1, 2, 3)
MOST_WEEKS = 26
PLANNED, SKIP = "planned", "skip"


@dataclass(frozen=True)
class DecidedDate:
    """A date as somebody decided it. `at` None: left out."""

    at: datetime | None
    room_id: int | None
    is_deliberate: bool = False


@dataclass(frozen=True)
class Choice:
    value: str
    offer: Offer | None = None
    is_chosen: bool = False


@dataclass(frozen=True)
class Line:
    """One date of the preview with what can be decided about it."""

    name: str
    planned: PlannedDate
    choices: Sequence[Choice]

    @property
    def may_be_overruled(self) -> bool:
        return not NEVER.intersection(self.planned.conflicts)


class SeriesForm(BookingForm):
    """A pattern of up to three stretches, for example daily for three weeks, then twice weekly."""

    rows: ClassVar[list[Any]] = [
        ("kind", "minutes"),
        ("therapist", "room"),
        ("on", "at"),
        "desk_note",
    ]

    on = DayField(label="First day")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number in STRETCHES:
            self._add_stretch(number)

    def _add_stretch(self, number: int) -> None:
        is_first = number == STRETCHES[0]
        self.fields[f"weeks_{number}"] = forms.IntegerField(
            min_value=1 if is_first else 0,
            max_value=MOST_WEEKS,
            required=is_first,
            label="Weeks" if is_first else "then weeks",
        )
        self.fields[f"weekdays_{number}"] = WeekdaysField(label="on")

    def stretch_fields(self) -> list[tuple[Any, Any]]:
        return [(self[f"weeks_{number}"], self[f"weekdays_{number}"]) for number in STRETCHES]

    def rule(self) -> str:
        """The pattern as a rule of RFC 5545. Raises NoDates."""
        asked = self.cleaned_data
        stretches = [
            Stretch(frozenset(asked[f"weekdays_{number}"]), asked[f"weeks_{number}"])
            for number in STRETCHES
            if asked[f"weeks_{number}"]
        ]
        return rule_text(stretches, first_on=asked["on"], at=asked["at"])

    def lines(self, planned: Sequence[PlannedDate]) -> list[Line]:
        """Each date with its choices, the posted or the nearest one chosen."""
        return [self._line(one) for one in planned]

    def _line(self, planned: PlannedDate) -> Line:
        name = f"date-{self._wall(planned.span.starts_at)}"
        values = [PLANNED, *map(self._value, planned.near), SKIP]
        posted = self.data.get(name)
        nearest = PLANNED if planned.is_free else values[1]
        chosen = posted if posted in values else nearest
        offers: list[Offer | None] = [None, *planned.near, None]
        choices = [
            Choice(value, offer, value == chosen)
            for value, offer in zip(values, offers, strict=True)
        ]
        return Line(name, planned, choices)

    def decided(self, lines: Sequence[Line]) -> list[DecidedDate] | None:
        """What was decided about every date, or None while a date is undecided."""
        if any(line.name not in self.data for line in lines):
            return None
        return [one for line in lines for one in self._decided(line) if one.at]

    def _decided(self, line: Line) -> Iterator[DecidedDate]:
        value, planned = self.data[line.name], line.planned
        if value == PLANNED:
            yield DecidedDate(planned.span.starts_at, planned.place.room_id, not planned.is_free)
        elif value != SKIP:
            yield self._read(value)

    def _value(self, offer: Offer) -> str:
        return f"{self._wall(offer.span.starts_at)} {offer.place.room_id or ''}"

    def _read(self, value: str) -> DecidedDate:
        """A posted time and room; one that cannot be read counts as left out."""
        at, _, room_id = value.partition(" ")
        try:
            local = datetime.fromisoformat(at)
            return DecidedDate(
                moment(local.date(), local.time(), self.zone), int(room_id) if room_id else None
            )
        except ValueError:
            return DecidedDate(None, None)

    def _wall(self, at: datetime) -> str:
        return f"{at.astimezone(self.zone):%Y-%m-%dT%H:%M}"

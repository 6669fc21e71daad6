"""Forms of the clinic lead: hours, absences, closures, rooms, kinds."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django import forms
from django.db.models import QuerySet
from django.urls import reverse

from clinic.accounts.models import User
from clinic.clients.forms.pieces import DayField
from clinic.common.forms import PlainModelForm, form_layout
from clinic.scheduling.errors import EndsBeforeStart
from clinic.scheduling.forms.booking import ClockField, SchedulingForm
from clinic.scheduling.sentences import sentence
from clinic.scheduling.spans import moment
from clinic.scheduling.staff_time import AppointmentKind, Closure, Room, WorkingHours
from clinic.scheduling.words import Weekday

STRETCHES_A_DAY = 2


class HoursForm(SchedulingForm):
    """A week of working hours, two stretches a day: before and after a break."""

    def __init__(
        self, *args: Any, hours: QuerySet[WorkingHours], rooms: QuerySet[Room], **kwargs: Any
    ) -> None:
        kwargs["initial"] = _hours_shown(hours)
        super().__init__(*args, **kwargs)
        for day in Weekday:
            for part in range(STRETCHES_A_DAY):
                self._add_stretch(f"{day.value}_{part}", day, part, rooms)

    def _add_stretch(self, key: str, day: Weekday, part: int, rooms: QuerySet[Room]) -> None:
        said = f"{day.label}, {'first' if part == 0 else 'second'} stretch"
        for name, label in (("from", "from"), ("to", "to")):
            field = ClockField(required=False, label=f"{said}, {label}", help_text="")
            field.widget.attrs["class"] = "form-control"
            self.fields[f"{name}_{key}"] = field
        self.fields[f"room_{key}"] = forms.ModelChoiceField(
            queryset=rooms,
            required=False,
            empty_label="Any room",
            label=f"{said}, room",
            widget=forms.Select(attrs={"class": "form-select"}),
        )

    def lines(self) -> list[tuple[Weekday, list[tuple[Any, Any, Any]]]]:
        """(weekday, [(from, to, room), ...]) as bound fields, for the page."""
        return [
            (
                day,
                [
                    tuple(self[f"{name}_{day.value}_{part}"] for name in ("from", "to", "room"))
                    for part in range(STRETCHES_A_DAY)
                ],
            )
            for day in Weekday
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for key in _keys():
            begins, ends = cleaned.get(f"from_{key}"), cleaned.get(f"to_{key}")
            if (begins is None) != (ends is None) and not self._is_broken(key):
                missing = "to" if ends is None else "from"
                self.add_error(f"{missing}_{key}", "Fill in both times, or neither.")
            elif begins and ends and ends <= begins:
                self.add_error(f"to_{key}", sentence(EndsBeforeStart("to")))
        return cleaned

    def _is_broken(self, key: str) -> bool:
        return f"from_{key}" in self.errors or f"to_{key}" in self.errors

    def hours(self) -> list[WorkingHours]:
        """Unsaved rows for the stretches filled in."""
        return [
            WorkingHours(
                weekday=int(key[0]),
                from_time=self.cleaned_data[f"from_{key}"],
                to_time=self.cleaned_data[f"to_{key}"],
                room=self.cleaned_data[f"room_{key}"],
            )
            for key in _keys()
            if self.cleaned_data.get(f"from_{key}")
        ]


def _keys() -> Iterator[str]:
    return (f"{day.value}_{part}" for day in Weekday for part in range(STRETCHES_A_DAY))


def _hours_shown(hours: QuerySet[WorkingHours]) -> dict[str, Any]:
    shown: dict[str, Any] = {}
    for one in hours:
        part = int(f"from_{one.weekday}_0" in shown)
        shown |= {
            f"from_{one.weekday}_{part}": one.from_time,
            f"to_{one.weekday}_{part}": one.to_time,
            f"room_{one.weekday}_{part}": one.room_id,
        }
    return shown


class TimeOffForm(SchedulingForm):
    """From a day to a day, whole days unless times are given."""

    therapist = forms.ModelChoiceField(queryset=None, label="Therapist", empty_label="Choose")
    from_on = DayField(label="First day")
    from_time = ClockField(label="from", required=False, help_text="Empty: the whole day.")
    to_on = DayField(label="Last day")
    to_time = ClockField(label="until", required=False, help_text="Empty: the whole day.")
    reason = forms.CharField(
        max_length=80, required=False, label="Note", help_text="Only the clinic lead reads it."
    )

    def __init__(self, *args: Any, therapists: QuerySet[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["therapist"].queryset = therapists  # type: ignore[attr-defined]
        self.helper = form_layout(
            "therapist",
            ("from_on", "from_time"),
            ("to_on", "to_time"),
            "reason",
            save="Save time off",
            back=_back(),
        )

    def starts_at(self, zone: ZoneInfo) -> datetime:
        return moment(
            self.cleaned_data["from_on"], self.cleaned_data["from_time"] or time.min, zone
        )

    def ends_at(self, zone: ZoneInfo) -> datetime:
        last_on: date = self.cleaned_data["to_on"]
        if self.cleaned_data["to_time"]:
            return moment(last_on, self.cleaned_data["to_time"], zone)
        return moment(last_on + timedelta(days=1), time.min, zone)


def _back() -> str:
    return reverse("staff-time")


class StaffTimeModelForm(PlainModelForm):
    """A form laid out by its `rows`, with a button that says what it saves."""

    sentence = staticmethod(sentence)
    rows: ClassVar[Sequence[Any]] = ()
    save_label: ClassVar[str]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(*self.rows, save=self.save_label, back=_back())


class ClosureForm(StaffTimeModelForm):
    first_on = DayField(label="First day")
    last_on = DayField(label="Last day")
    rows = ("title", ("first_on", "last_on"))
    save_label = "Save closure"

    class Meta:
        model = Closure
        fields = ["title", "first_on", "last_on"]

    def _get_validation_exclusions(self) -> set[str]:
        """The order of the two days is the service's to refuse, beside its field."""
        return super()._get_validation_exclusions() | {"first_on", "last_on"}


class RoomForm(StaffTimeModelForm):
    rows = (("name", "place"), "is_active")
    save_label = "Save room"

    class Meta:
        model = Room
        fields = ["name", "place", "is_active"]


class KindForm(StaffTimeModelForm):
    rows = (("name", "mark"), ("minutes", "tone"), ("purpose", "place"), "bring", "is_active")
    save_label = "Save kind"

    class Meta:
        model = AppointmentKind
        fields = ["name", "mark", "minutes", "tone", "purpose", "bring", "place", "is_active"]
        help_texts = {"purpose": "Recalls look for this."}

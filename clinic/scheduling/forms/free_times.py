"""What a free time must fit."""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.clients.forms.pieces import DayField, rows_only
from clinic.common.choices import choices_of
from clinic.scheduling.forms.booking import ClockField, KindChoice, MinutesField, SchedulingForm
from clinic.scheduling.slots import LAST_TIME, Wish
from clinic.scheduling.spans import moment
from clinic.scheduling.staff_time import AppointmentKind, Room
from clinic.scheduling.words import Weekday

SEARCHED_DAYS = 90


class WeekdaysField(forms.TypedMultipleChoiceField):
    """Weekdays as numbers from Monday, 0."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            choices=choices_of(Weekday),
            coerce=int,
            widget=forms.CheckboxSelectMultiple,
            required=False,
            **kwargs,
        )


class FreeTimesForm(SchedulingForm):
    """Kind, therapist, room, and the days and hours at which a client can come."""

    kind = KindChoice(queryset=None, label="Kind", empty_label="Choose")
    minutes = MinutesField(required=False, help_text="Empty: the usual length.")
    therapist = forms.ModelChoiceField(
        queryset=None, label="Therapist", required=False, empty_label="Any therapist"
    )
    room = forms.ModelChoiceField(
        queryset=None, label="Room", required=False, empty_label="Any room"
    )
    weekdays = WeekdaysField(label="Weekdays")
    from_on = DayField(label="From day", required=False)
    from_time = ClockField(label="Not before", required=False)
    to_time = ClockField(label="Done by", required=False)

    def __init__(
        self,
        *args: Any,
        therapists: QuerySet[User],
        rooms: QuerySet[Room],
        kinds: QuerySet[AppointmentKind],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["therapist"].queryset = therapists  # type: ignore[attr-defined]
        self.fields["room"].queryset = rooms  # type: ignore[attr-defined]
        self.fields["kind"].queryset = kinds  # type: ignore[attr-defined]
        self.helper = rows_only(
            ("kind", "minutes"),
            ("therapist", "room"),
            ("from_on", "from_time", "to_time"),
        )

    def minutes_meant(self) -> int:
        return self.cleaned_data["minutes"] or self.cleaned_data["kind"].minutes

    def wish(self, *, now: datetime, zone: ZoneInfo, therapist_ids: Sequence[int]) -> Wish:
        """The wish as typed, from now on or from the day given."""
        asked = self.cleaned_data
        today: date = now.astimezone(zone).date()
        first_on = max(asked["from_on"] or today, today)
        chosen = asked["therapist"]
        return Wish(
            minutes=self.minutes_meant(),
            from_at=max(now, moment(first_on, time.min, zone)),
            until_on=first_on + timedelta(days=SEARCHED_DAYS),
            therapist_ids=(chosen.pk,) if chosen else tuple(therapist_ids),
            room_ids=(asked["room"].pk,) if asked["room"] else (),
            weekdays=frozenset(asked["weekdays"]) or frozenset(range(7)),
            from_time=asked["from_time"] or time.min,
            to_time=asked["to_time"] or LAST_TIME,
        )

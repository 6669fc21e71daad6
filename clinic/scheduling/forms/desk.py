"""Forms of the day sheet, recalls, wait list, authorisations, feeds and reminders."""

from datetime import date, timedelta
from typing import Any

from crispy_forms.layout import HTML
from django import forms
from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.clients.forms.pieces import DayField
from clinic.common.choices import choices_of
from clinic.common.forms import PlainForm, form_layout
from clinic.scheduling.desk_sentences import sentence
from clinic.scheduling.forms.booking import ClockField, KindChoice, MinutesField
from clinic.scheduling.forms.free_times import WeekdaysField
from clinic.scheduling.selectors.day_sheet import Sheet
from clinic.scheduling.selectors.recalls import Filter
from clinic.scheduling.staff_time import AppointmentKind, Room
from clinic.scheduling.words import RecallReason, ReminderChannel, Urgency

NO_DIAGNOSIS = "No diagnosis: everybody here reads it."
# How long a recall is usually put off. Common practice, no source.
USUAL_SNOOZE_DAYS = 7
WEEKDAYS = HTML('{% include "scheduling/_weekdays_row.html" with weekdays=form.weekdays %}')


class DeskForm(PlainForm):
    """A form whose broken rules are worded by the desk's own sentences."""

    sentence = staticmethod(sentence)


class SheetForm(DeskForm):
    """Which day's sheet, and whose. What cannot be read is today and everybody."""

    on = forms.DateField(required=False)
    therapist = forms.IntegerField(required=False)

    def sheet(self, *, today: date) -> Sheet:
        self.is_valid()
        asked = self.cleaned_data
        return Sheet(asked.get("on") or today, asked.get("therapist"))


class RecallFilterForm(DeskForm):
    """What the recall list is asked for. What cannot be read filters nothing."""

    reason = forms.ChoiceField(
        required=False,
        label="Why",
        choices=[
            ("", "Any reason"),
            *((one.value, one.label.capitalize()) for one in RecallReason),
        ],
    )
    therapist = forms.ModelChoiceField(
        queryset=None,
        label="Therapist",
        required=False,
        empty_label="Any therapist",
        widget=forms.Select(attrs={"class": "form-select"}),
    )
    snoozed = forms.BooleanField(
        required=False,
        label="Put off ones too",
        widget=forms.CheckboxInput(attrs={"class": "form-check-input"}),
    )

    def __init__(self, *args: Any, therapists: QuerySet[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["therapist"].queryset = therapists  # type: ignore[attr-defined]

    def wanted(self, page: str) -> Filter:
        self.is_valid()
        asked = self.cleaned_data
        therapist = asked.get("therapist")
        return Filter(
            reason=RecallReason(asked["reason"]) if asked.get("reason") else None,
            therapist_id=therapist.pk if therapist else None,
            includes_snoozed=bool(asked.get("snoozed")),
            page=page,
        )


class SnoozeForm(DeskForm):
    """Until when a recall is put off, and why."""

    until_on = DayField(label="Put off until")
    reason = forms.CharField(max_length=200, label="Reason", help_text=NO_DIAGNOSIS)

    def __init__(self, *args: Any, today: date, back: str, **kwargs: Any) -> None:
        kwargs["initial"] = {"until_on": today + timedelta(days=USUAL_SNOOZE_DAYS)}
        super().__init__(*args, **kwargs)
        self.helper = form_layout("until_on", "reason", save="Put off", back=back)


class ScheduleForm(DeskForm):
    """Months between re-measurements of an episode."""

    every_months = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=24,
        label="Months between re-measurements",
        help_text="Empty: the usual for the phase, 3 in surveillance and 6 in maintenance.",
    )

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout("every_months", save="Keep", back=back)


class EntryForm(DeskForm):
    """What somebody on the wait list waits for, and when they can come."""

    kind = KindChoice(queryset=None, label="Kind", empty_label="Choose")
    minutes = MinutesField(required=False, help_text="Empty: the usual length.")
    therapist = forms.ModelChoiceField(
        queryset=None, label="Therapist", required=False, empty_label="Any therapist"
    )
    urgency = forms.ChoiceField(
        choices=choices_of(Urgency), initial=Urgency.USUAL, label="How soon"
    )
    weekdays = WeekdaysField(label="Weekdays")
    from_time = ClockField(label="Not before", required=False)
    to_time = ClockField(label="Done by", required=False)
    from_on = DayField(label="From", required=False)
    until_on = DayField(label="Until", required=False)
    note = forms.CharField(max_length=200, required=False, label="Note", help_text=NO_DIAGNOSIS)

    def __init__(
        self,
        *args: Any,
        therapists: QuerySet[User],
        kinds: QuerySet[AppointmentKind],
        back: str,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["therapist"].queryset = therapists  # type: ignore[attr-defined]
        self.fields["kind"].queryset = kinds  # type: ignore[attr-defined]
        self.helper = form_layout(
            ("kind", "minutes"),
            ("therapist", "urgency"),
            ("from_time", "to_time"),
            ("from_on", "until_on"),
            WEEKDAYS,
            "note",
            save="Put on the wait list",
            back=back,
        )

    def said(self) -> dict[str, Any]:
        asked = self.cleaned_data
        return asked | {"minutes": asked["minutes"] or asked["kind"].minutes}


class LeaveForm(DeskForm):
    """Why somebody no longer waits."""

    reason = forms.CharField(max_length=80, label="Reason", help_text=NO_DIAGNOSIS)

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout("reason", save="Take off the list", back=back)


class AuthorisationForm(DeskForm):
    """What a payer has authorised."""

    payer = forms.CharField(max_length=80, label="Payer")
    number = forms.CharField(max_length=40, label="Authorisation number")
    from_on = DayField(label="From")
    to_on = DayField(label="To")
    visits = forms.IntegerField(min_value=1, max_value=999, label="Visits authorised")
    note = forms.CharField(max_length=200, required=False, label="Note", help_text=NO_DIAGNOSIS)

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            ("payer", "number"), ("from_on", "to_on", "visits"), "note", save="Save", back=back
        )


class FeedForm(DeskForm):
    """Whose bookings a feed holds: a therapist's or a room's."""

    of = forms.ChoiceField(label="Bookings of")

    def __init__(
        self, *args: Any, therapists: QuerySet[User], rooms: QuerySet[Room], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.people = {f"t{one.pk}": one for one in therapists}
        self.rooms = {f"r{one.pk}": one for one in rooms}
        named = {**self.people, **self.rooms}
        self.fields["of"].choices = [  # type: ignore[attr-defined]
            ("", "Choose"),
            *((key, str(one)) for key, one in named.items()),
        ]

    def chosen(self) -> dict[str, Any]:
        key = self.cleaned_data["of"]
        return {"therapist": self.people.get(key), "room": self.rooms.get(key)}


class ConsentForm(DeskForm):
    """How a client agrees to be reminded."""

    channel = forms.ChoiceField(
        choices=[("", "Choose"), *choices_of(ReminderChannel)], label="The client agrees"
    )


class DayForm(DeskForm):
    """A day in the address."""

    on = forms.DateField(required=False)

    def day(self, *, otherwise: date) -> date:
        self.is_valid()
        found: date | None = self.cleaned_data.get("on")
        return found or otherwise

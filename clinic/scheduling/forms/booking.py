"""Forms that book, move and cancel."""

from datetime import date, datetime, time
from typing import Any, ClassVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms
from django.db.models import QuerySet
from django.http import QueryDict

from clinic.accounts.models import User
from clinic.clients.forms.pieces import DayField, rows_only
from clinic.clients.models import Client
from clinic.common.choices import choices_of
from clinic.common.forms import PlainForm
from clinic.scheduling.clocks import read_clock
from clinic.scheduling.sentences import sentence
from clinic.scheduling.spans import moment
from clinic.scheduling.staff_time import LONGEST_MIN, SHORTEST_MIN, AppointmentKind, Room
from clinic.scheduling.states import CancelReason
from clinic.scheduling.words import Scope

STEP_MIN = 5
NOBODY = "Choose who comes."


class SchedulingForm(PlainForm):
    """A form whose broken rules are worded by this app."""

    sentence = staticmethod(sentence)


class KindChoice(forms.ModelChoiceField):
    """Kinds by name, with the length that an empty field of minutes stands for."""

    def label_from_instance(self, kind: Any) -> str:
        return f"{kind.name} ({kind.minutes} min)"


class AuthorisationChoice(forms.ModelChoiceField):
    """Authorisations by payer and number, with the days that they hold for."""

    def label_from_instance(self, row: Any) -> str:
        days = f"{row.from_on.day} {row.from_on:%b} to {row.to_on.day} {row.to_on:%b %Y}"
        return f"{row}, {days}"


class ClockField(forms.CharField):
    """A time of day as people type it, shown as 09:30 whatever the browser's language."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", "Like 9:30 or 2 pm.")
        attrs = {"autocomplete": "off", "inputmode": "text"}
        super().__init__(widget=forms.TextInput(attrs=attrs), max_length=12, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        return f"{value:%H:%M}" if isinstance(value, time) else value

    def clean(self, value: Any) -> time | None:
        text = super().clean(value)
        if not text:
            return None
        if (typed := read_clock(text)) is None:
            raise forms.ValidationError("This is not a time. Write it like 9:30, 14:30 or 2 pm.")
        return typed


class MinutesField(forms.IntegerField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            min_value=SHORTEST_MIN,
            max_value=LONGEST_MIN,
            step_size=STEP_MIN,
            label="Minutes",
            error_messages={"step_size": "Lengths go by five minutes: 45, 50, 55."},
            **kwargs,
        )


class SlotForm(SchedulingForm):
    """A time with a therapist and perhaps a room."""

    therapist = forms.ModelChoiceField(queryset=None, label="Therapist", empty_label="Choose")
    room = forms.ModelChoiceField(
        queryset=None, label="Room", required=False, empty_label="No room"
    )
    on = DayField(label="Day")
    at = ClockField(label="Time")
    minutes = MinutesField()
    is_deliberate = forms.BooleanField(required=False, label="Book all the same")

    def __init__(
        self,
        *args: Any,
        therapists: QuerySet[User],
        rooms: QuerySet[Room],
        zone: ZoneInfo,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.zone = zone
        self.fields["therapist"].queryset = therapists  # type: ignore[attr-defined]
        self.fields["room"].queryset = rooms  # type: ignore[attr-defined]

    @property
    def asks_to_overrule(self) -> bool:
        """Whether the tick box is to be shown: only after somebody was told why."""
        return "is_deliberate" in self.errors or bool(self["is_deliberate"].value())

    def day_shown(self) -> date | None:
        """The day that stands in the form; None while it holds none that can be read."""
        try:
            return self.fields["on"].to_python(self["on"].value())  # type: ignore[no-any-return]
        except forms.ValidationError:
            return None

    def starts_at(self) -> datetime:
        return moment(self.cleaned_data["on"], self.cleaned_data["at"], self.zone)

    def minutes_meant(self) -> int:
        return int(self.cleaned_data["minutes"])


class BookingForm(SlotForm):
    """A booking: who, what for, when, with whom and where."""

    rows: ClassVar[list[Any]] = [
        ("kind", "minutes"),
        ("on", "at"),
        ("therapist", "room"),
        "desk_note",
    ]

    client = forms.UUIDField(error_messages={"required": NOBODY, "invalid": NOBODY})
    words = forms.CharField(required=False, max_length=200)
    kind = KindChoice(queryset=None, label="Kind", empty_label="Choose")
    minutes = MinutesField(required=False, help_text="Empty: the usual length.")
    desk_note = forms.CharField(
        required=False,
        max_length=200,
        label="Note for the desk",
        help_text="For example “brings daughter”. No diagnosis: everybody here reads it.",
    )
    authorisation = AuthorisationChoice(
        queryset=None,
        required=False,
        label="Counts under",
        empty_label="Every authorisation that holds the day",
    )

    def __init__(
        self,
        *args: Any,
        kinds: QuerySet[AppointmentKind],
        chosen: Client | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.chosen = chosen  # the client named by the answers, if there is such a client
        self.fields["kind"].queryset = kinds  # type: ignore[attr-defined]
        known = chosen.authorisations.all() if chosen else None
        if known is None:  # whose authorisations is not said yet
            del self.fields["authorisation"]
        else:
            self.fields["authorisation"].queryset = known  # type: ignore[attr-defined]
        self.helper = rows_only(*self.rows, *(["authorisation"] if known else []))

    def clean_client(self) -> UUID:
        if self.chosen is None:
            raise forms.ValidationError(NOBODY)
        return self.chosen.pk

    def minutes_meant(self) -> int:
        return self.cleaned_data["minutes"] or self.cleaned_data["kind"].minutes


class MoveForm(SlotForm):
    """Another time, length, therapist or room for an appointment."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    scope = forms.ChoiceField(
        choices=choices_of(Scope), initial=Scope.ONE, required=False, widget=forms.RadioSelect
    )

    def __init__(self, *args: Any, in_series: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows: list[Any] = ["version", ("on", "at", "minutes"), ("therapist", "room")]
        self.helper = rows_only(*rows, *(["scope"] if in_series else []))
        self.fields["scope"].label = "Move"

    def scope_meant(self) -> Scope:
        return Scope(self.cleaned_data.get("scope") or Scope.ONE)


class CancelForm(SchedulingForm):
    """Why an appointment, or part of a series, does not take place."""

    reason = forms.ChoiceField(choices=[("", "Choose"), *choices_of(CancelReason)], label="Reason")
    note = forms.CharField(
        required=False, max_length=200, label="Note", help_text="No diagnosis: everybody reads it."
    )
    scope = forms.ChoiceField(
        choices=choices_of(Scope), initial=Scope.ONE, required=False, widget=forms.RadioSelect
    )

    def __init__(self, *args: Any, in_series: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = rows_only("reason", "note", *(["scope"] if in_series else []))
        self.fields["scope"].label = "Cancel"

    def scope_meant(self) -> Scope:
        return Scope(self.cleaned_data.get("scope") or Scope.ONE)


class NoteForm(SchedulingForm):
    desk_note = forms.CharField(required=False, max_length=200, label="Note for the desk")


def asked_slot(asked: QueryDict) -> dict[str, Any]:
    """What the address of a free cell says: therapist, room and wall time. Nothing of a client."""
    initial = {
        name: asked[name] for name in ("therapist", "room", "minutes", "kind") if asked.get(name)
    }
    try:
        at = datetime.fromisoformat(asked.get("at", ""))
    except ValueError:
        return initial
    return initial | {"on": at.date(), "at": at.time().replace(second=0, microsecond=0)}


def with_instead(answers: QueryDict) -> QueryDict:
    """The answers with the proposed time that was pressed ("2026-03-02T10:15 4") in its fields."""
    at, _, room_id = answers.get("instead", "").partition(" ")
    try:
        local = datetime.fromisoformat(at)
    except ValueError:
        return answers
    changed = answers.copy()
    changed["on"], changed["at"] = f"{local:%Y-%m-%d}", f"{local:%H:%M}"
    changed["room"] = room_id
    return changed

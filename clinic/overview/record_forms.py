"""What the clinic lead asks the access and change record for."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from django import forms
from django.utils.formats import date_format

from clinic.accounts.models import User
from clinic.audit.sentences import groups
from clinic.clients.forms.pieces import DayField
from clinic.common.choices import choices_of
from clinic.overview.record_search import USUAL_DAYS, Asked, Order, Worth

FEWEST_MANY, MOST_MANY = 2, 1000
WORTH_HELP = f"Hours and many clients: {USUAL_DAYS} days, unless From is given."
NOT_BEFORE = "The last day is before the first."


class RecordForm(forms.Form):
    """Filters. Sent by POST: whom one looks for does not belong in an address."""

    by = forms.ModelChoiceField(
        queryset=User.objects.none(), label="Person", required=False, empty_label="Anybody"
    )
    client = forms.CharField(
        max_length=200, label="Client", required=False, help_text="Name, birthday or record number."
    )
    action = forms.ChoiceField(label="What was done", required=False)
    from_on = DayField(label="From", required=False, help_text="")
    to_on = DayField(label="To", required=False, help_text="")
    subject = forms.CharField(
        max_length=60,
        required=False,
        help_text="A part of it, like visitnote, or of a colleague’s name.",
    )
    came_from = forms.CharField(
        max_length=45,
        label="From where",
        required=False,
        help_text="Start of an address, a sign-in’s mark, or command.",
    )
    worth = forms.ChoiceField(
        choices=[("", "Everything"), *choices_of(Worth)],
        label="Worth a look",
        required=False,
        help_text=WORTH_HELP,
    )
    many = forms.IntegerField(
        min_value=FEWEST_MANY,
        max_value=MOST_MANY,
        initial=30,
        required=False,
        label="Many is at least",
        help_text="Clients in a day.",
    )
    order = forms.ChoiceField(choices=choices_of(Order), label="Sorted", required=False)
    page = forms.IntegerField(min_value=1, required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, staff: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["by"].queryset = staff  # type: ignore[attr-defined]
        self.fields["action"].choices = [  # type: ignore[attr-defined]
            ("", "Anything"),
            ("looks", "Any look, print or file"),
            ("changes", "Any change"),
            *((name.capitalize(), verbs) for name, verbs in groups().items()),
        ]
        for name, field in self.fields.items():
            kind = "form-select" if isinstance(field.widget, forms.Select) else "form-control"
            field.widget.attrs |= {"class": kind, "autocomplete": "off"}
            if name in self.errors:
                field.widget.attrs["class"] += " is-invalid"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        first: date | None = cleaned.get("from_on")
        last: date | None = cleaned.get("to_on")
        if first and last and last < first:
            self.add_error("to_on", NOT_BEFORE)
        return cleaned

    def said(self) -> list[tuple[str, str]]:
        """What a valid form asks for in words, for paper: (label, value) of each field filled."""
        fields = [self[name] for name in self.fields if name != "page"]
        asks_many = self.cleaned_data["worth"] == Worth.MANY_IN_A_DAY
        return [
            (str(field.label), _in_words(field, self.cleaned_data[field.name]))
            for field in fields
            if self.cleaned_data[field.name] and (field.name != "many" or asks_many)
        ]

    def asked(self) -> Asked:
        """What a valid form asks for."""
        told = self.cleaned_data
        return Asked(
            by=told["by"],
            client=told["client"],
            action=told["action"],
            from_on=told["from_on"],
            to_on=told["to_on"],
            subject=told["subject"],
            came_from=told["came_from"],
            worth=Worth(told["worth"]) if told["worth"] else None,
            many=told["many"] or Asked.many,
            order=Order(told["order"] or Order.LATEST),
        )


def _in_words(field: forms.BoundField, value: Any) -> str:
    if isinstance(value, date):
        return date_format(value)
    if isinstance(field.field, forms.ChoiceField) and not isinstance(value, User):
        return str(dict(_flat(field.field.choices))[value]).lower()
    return str(value)


def _flat(choices: Any) -> Iterator[tuple[str, str]]:
    for value, words in choices:
        yield from words if isinstance(words, (list, tuple)) else [(value, words)]

"""Forms about who a client is, and who referred them."""

from datetime import date
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone

from clinic.clients.days import check_birth
from clinic.clients.forms.pieces import (
    DIFFERENCES,
    LOOK_ALIKES,
    ClientsForm,
    DayField,
    EditedTogether,
    ReferrerChoice,
    rows_only,
)
from clinic.clients.models import Client, Delivery, Referrer
from clinic.clients.selectors import Order, Search
from clinic.clients.sentences import sentence
from clinic.common.choices import choices_of
from clinic.common.errors import RuleBroken
from clinic.common.forms import form_layout


class SearchForm(forms.Form):
    """What a list is asked for. Sent by POST: names do not belong in an address."""

    words = forms.CharField(required=False, max_length=200)
    includes_inactive = forms.BooleanField(required=False)
    order = forms.ChoiceField(choices=choices_of(Order), required=False)
    page = forms.IntegerField(required=False, min_value=1)

    def search(self) -> Search:
        """The search as typed; what cannot be read counts as not asked."""
        asked = self.cleaned_data if self.is_valid() else getattr(self, "cleaned_data", {})
        return Search(
            words=asked.get("words") or "",
            includes_inactive=bool(asked.get("includes_inactive")),
            order=Order(asked.get("order") or Order.NAME),
            page=asked.get("page") or 1,
        )


class ClientForm(EditedTogether):
    """A client's details."""

    born_on = DayField(
        label="Date of birth", help_text="For example 4 Mar 1961, 1961-03-04 or 3/4/1961."
    )

    class Meta:
        model = Client
        fields = [
            "given_name",
            "family_name",
            "born_on",
            "sex",
            "record_number",
            "phone",
            "email",
            "street",
            "town",
            "referrer",
            "agrees_to_letters",
        ]
        help_texts = {
            "record_number": "Leave empty to be given the next free number.",
            "sex": "Chooses the table of usual girths.",
        }
        error_messages = {
            "record_number": {
                "unique": "Another client has this record number. Type a different one, or leave"
                " the field empty to be given the next free number."
            }
        }

    def __init__(self, *args: Any, referrers: QuerySet[Referrer], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["record_number"].required = False
        if self.instance._state.adding and not self.is_bound:
            self.fields["given_name"].widget.attrs["autofocus"] = True
        self.fields["referrer"] = ReferrerChoice(queryset=referrers, label="Referrer")
        self.helper = rows_only(
            LOOK_ALIKES,
            DIFFERENCES,
            "before",
            ("given_name", "family_name"),
            ("born_on", "sex", "record_number"),
            ("phone", "email"),
            ("street", "town"),
            "referrer",
            "agrees_to_letters",
        )

    def clean_born_on(self) -> date:
        """Before the model's own check, which could only name its constraint."""
        born_on: date = self.cleaned_data["born_on"]
        try:
            check_birth(born_on, today=timezone.localdate())
        except RuleBroken as error:
            raise forms.ValidationError(sentence(error)) from error
        return born_on


# The field that a way of sending letters needs, and what to say when it is empty; a letter given
# by hand needs none.
NEEDED_FOR: dict[str, tuple[str, str]] = {
    Delivery.FAX: ("fax", "Letters to this referrer go by fax: type the fax number."),
    Delivery.EMAIL: ("email", "Letters to this referrer go by e-mail: type the address."),
    Delivery.POST: ("street", "Letters to this referrer go by post: type street or post box."),
}


class ReferrerForm(EditedTogether):
    """A referrer's details, and how letters reach them."""

    class Meta:
        model = Referrer
        fields = [
            "title",
            "given_name",
            "family_name",
            "speciality",
            "organisation",
            "street",
            "town",
            "phone",
            "fax",
            "email",
            "delivery",
            "letter_frequency",
        ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = [
            "before",
            ("title", "given_name", "family_name"),
            ("speciality", "organisation"),
            ("street", "town"),
            ("phone", "fax", "email"),
            ("delivery", "letter_frequency"),
        ]
        if self.prefix:
            self.helper = rows_only(*rows)
        else:
            self.helper = form_layout(
                DIFFERENCES, *rows, save="Save referrer", back=reverse("referrers")
            )

    def has_changed(self) -> bool:
        """Inside the client's form, whether anything was typed: a choice alone names nobody."""
        if not self.empty_permitted:
            return super().has_changed()
        typed = (self.data.get(self.add_prefix(name), "") for name in self._meta.fields[:-2])
        return any(text.strip() for text in typed)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if needed := NEEDED_FOR.get(cleaned.get("delivery", "")):
            self._need(*needed)
        if cleaned.get("delivery") == Delivery.POST and not cleaned.get("town"):
            self._need("town", "Letters to this referrer go by post: type town and postcode.")
        return cleaned

    def _need(self, name: str, otherwise: str) -> None:
        if name not in self.errors and not self.cleaned_data.get(name):
            self.add_error(name, otherwise)


class DeactivateForm(ClientsForm):
    """Why a client leaves the lists."""

    reason = forms.CharField(max_length=200, label="Reason", help_text="Anybody can read it.")

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout("reason", save="Deactivate", back=back)

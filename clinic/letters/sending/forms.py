"""Forms about sending: which letters go, what became of them, and e-mail with a referrer."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.utils import timezone

from clinic.clients.models import Delivery
from clinic.common.choices import choices_of
from clinic.common.forms import DateInput, PlainForm, form_layout
from clinic.letters.sending.passphrases import SHORTEST
from clinic.letters.sending.selectors import ORDERS, LetterToSend, LogSearch, Wanted
from clinic.letters.sending.sentences import sentence
from clinic.letters.sending.services import Chosen
from clinic.letters.sending.ways import WITH_ADDRESS, Decision, Output, Way, way_of

REASON_LENGTH = 200
GONE_BY = [Way.POST, Way.FAX, Way.HAND, Way.EMAIL, Way.FILE]
DECISIONS = [("", "Choose the address"), *choices_of(Decision)]


class UuidsField(forms.TypedMultipleChoiceField):
    """Any ids: those that no longer wait are left alone by the service, not an error."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(coerce=UUID, required=False, **kwargs)

    def valid_value(self, value: str) -> bool:
        return True


class MonthField(forms.DateField):
    """A month as its first day, written 2026-11."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, input_formats=["%Y-%m"], **kwargs)


@dataclass(frozen=True)
class Row:
    """A letter of the list with its boxes: a tick, and what there is to decide."""

    letter: LetterToSend
    is_ticked: bool
    decide: forms.BoundField | None
    reason: forms.BoundField | None
    way: Way


class PickForm(PlainForm):
    """Letters ticked to go out together, and what was decided about single ones."""

    sentence = staticmethod(sentence)

    letters = UuidsField()
    output = forms.ChoiceField()
    two_sided = forms.BooleanField(required=False, label="Two-sided: each letter on its own sheet")
    address_sheets = forms.BooleanField(
        required=False, label="An address sheet in front of every envelope"
    )
    note = forms.CharField(required=False, max_length=REASON_LENGTH, label="Why, in a few words")
    noted = forms.ChoiceField(
        required=False, choices=[(way.value, way.label) for way in GONE_BY], label="It had gone"
    )

    def __init__(self, *args: Any, rows: Sequence[LetterToSend], outputs: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.listed = rows
        self.fields["output"].choices = [(each.value, each.label) for each in outputs]
        for row in rows:
            if _is_posted(row) and row.has_moved:
                self.fields[row.decide_field] = forms.ChoiceField(
                    required=False, choices=DECISIONS, label=f"Address for {row.referrer}"
                )
            if not row.client_agrees:
                self.fields[row.reason_field] = forms.CharField(
                    required=False, max_length=REASON_LENGTH, label=f"Why {row.client} all the same"
                )

    def rows(self) -> Iterator[Row]:
        ticked = set(self.data.getlist("letters")) if self.is_bound else None
        for letter in self.listed:
            decide, reason = self._box(letter.decide_field), self._box(letter.reason_field)
            is_plain = decide is None and reason is None and _can_go(letter)
            yield Row(
                letter=letter,
                is_ticked=is_plain if ticked is None else str(letter.id) in ticked,
                decide=decide,
                reason=reason,
                way=way_of(Output.PRINT, letter.referrer.delivery),
            )

    def _box(self, name: str) -> forms.BoundField | None:
        return self[name] if name in self.fields else None

    def chosen(self) -> Chosen:
        cleaned = self.cleaned_data
        decided = {row.id: cleaned.get(row.decide_field) for row in self.listed}
        reasons = {row.id: cleaned.get(row.reason_field) for row in self.listed}
        is_kept = "keep" in self.data
        return Chosen(
            letter_ids=tuple(cleaned["letters"]),
            output=Output(cleaned["output"]),
            two_sided=cleaned["two_sided"],
            address_sheets=cleaned["address_sheets"],
            note=cleaned["note"],
            noted=Way.NONE if is_kept else Way(cleaned["noted"] or Way.POST),
            decisions={key: Decision(value) for key, value in decided.items() if value},
            reasons={key: value for key, value in reasons.items() if value},
        )


def _can_go(row: LetterToSend) -> bool:
    """Whether it can be ticked from the start: there is somewhere to send it, and no stranger."""
    if not row.referrer.is_active:
        return False
    way = way_of(Output.PRINT, row.referrer.delivery)
    lacks = (way is Way.FAX and not row.referrer.fax) or (way is Way.POST and not row.can_be_posted)
    return row.may_be_mailed or not lacks


def _is_posted(row: LetterToSend) -> bool:
    return way_of(Output.PRINT, row.referrer.delivery) in WITH_ADDRESS


class WantedForm(forms.Form):
    """Which letters the list shows. What cannot be read counts as not asked."""

    month = MonthField()
    delivery = forms.ChoiceField(choices=choices_of(Delivery), required=False)
    order = forms.ChoiceField(choices=[(name, name) for name in ORDERS], required=False)

    def wanted(self) -> Wanted:
        asked = self.cleaned_data if self.is_valid() else getattr(self, "cleaned_data", {})
        return Wanted(
            month=asked.get("month"),
            delivery=asked.get("delivery") or "",
            order=asked.get("order") or "addressee",
        )


class OutcomeForm(PlainForm):
    """Letters of a batch that were posted, or that go back on the list."""

    sentence = staticmethod(sentence)

    sendings = UuidsField()
    reason = forms.CharField(
        required=False, max_length=REASON_LENGTH, label="Why they go back on the list"
    )


class ReasonForm(PlainForm):
    """Why a letter goes out once more."""

    sentence = staticmethod(sentence)

    reason = forms.CharField(
        max_length=REASON_LENGTH,
        label="Why it goes again",
        help_text="For example: it did not arrive, or another copy was asked for.",
    )

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout("reason", save="Print it again", back=back)


class LogForm(forms.Form):
    """What the sent log is asked for. Sent by POST: names do not belong in an address."""

    words = forms.CharField(required=False, max_length=200)
    month = MonthField()
    way = forms.ChoiceField(choices=choices_of(Way), required=False)
    page = forms.IntegerField(required=False, min_value=1)

    def search(self) -> LogSearch:
        asked = self.cleaned_data if self.is_valid() else getattr(self, "cleaned_data", {})
        return LogSearch(
            words=asked.get("words") or "",
            month=asked.get("month"),
            way=asked.get("way") or "",
            page=asked.get("page") or 1,
        )


class AgreementForm(PlainForm):
    """The passphrase agreed with a referrer, typed twice and never shown again."""

    sentence = staticmethod(sentence)

    agreed_on = forms.DateField(widget=DateInput(), label="Agreed on")
    passphrase = forms.CharField(
        min_length=SHORTEST,
        max_length=100,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        help_text=f"At least {SHORTEST} characters: a few words nobody would guess, not a birthday."
        " Tell it to the referrer by phone or in person, never by e-mail.",
    )
    repeated = forms.CharField(
        strip=False,
        max_length=100,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        label="The same once more",
    )

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            "agreed_on", ("passphrase", "repeated"), save="Keep the passphrase", back=back
        )

    def clean_agreed_on(self) -> date:
        agreed_on: date = self.cleaned_data["agreed_on"]
        if agreed_on > timezone.localdate():
            raise forms.ValidationError(
                "This day is still to come. Choose today or an earlier day."
            )
        return agreed_on

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        typed, again = cleaned.get("passphrase"), cleaned.get("repeated")
        if typed and again and typed != again:
            self.add_error("repeated", "The two are not the same. Type the passphrase twice.")
        return cleaned

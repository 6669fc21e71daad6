"""The upload of an appointment list, and the checked file on its way to the confirmation."""

from typing import Any

from django import forms
from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.common import uploads
from clinic.scheduling.desk_sentences import sentence
from clinic.scheduling.forms.booking import KindChoice
from clinic.scheduling.selectors.imports import Otherwise
from clinic.scheduling.staff_time import AppointmentKind


class OtherwiseForm(forms.Form):
    """What stands for a therapist or a kind that the file does not name."""

    therapist = forms.ModelChoiceField(
        queryset=None,
        required=False,
        label="Therapist where the file names none",
        empty_label="Nobody",
    )
    kind = KindChoice(
        queryset=None, required=False, label="Kind where the file names none", empty_label="None"
    )

    def __init__(
        self,
        *args: Any,
        therapists: QuerySet[User],
        kinds: QuerySet[AppointmentKind],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["therapist"].queryset = therapists  # type: ignore[attr-defined]
        self.fields["kind"].queryset = kinds  # type: ignore[attr-defined]

    def otherwise(self) -> Otherwise:
        return Otherwise(self.cleaned_data["therapist"], self.cleaned_data["kind"])


class ListForm(OtherwiseForm, uploads.UploadForm):
    """A CSV or iCalendar file."""

    sentence = staticmethod(sentence)

    file = forms.FileField(
        label="CSV or iCalendar file",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.ics", "class": "form-control"}),
        error_messages=uploads.NO_FILE,
    )


def sealed(raw: bytes, user: User) -> str:
    """The very bytes that were checked, signed for this person, packed small."""
    return uploads.sealed(raw, _purpose(user))


def unsealed(text: str, user: User) -> bytes:
    """The bytes again. Raises FileForgotten when changed, too old, or sealed for another."""
    return uploads.unsealed(text, _purpose(user))


def _purpose(user: User) -> str:
    return f"appointments-import:{user.pk}"

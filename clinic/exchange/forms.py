"""The upload of a list, and the checked bytes on their way to the confirmation."""

from django import forms

from clinic.accounts.models import User
from clinic.common import uploads
from clinic.exchange.layouts import ListKind
from clinic.exchange.sentences import sentence


class ListForm(uploads.UploadForm):
    """A CSV file."""

    sentence = staticmethod(sentence)

    file = forms.FileField(
        label="CSV file",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv", "class": "form-control"}),
        error_messages=uploads.NO_FILE,
    )


class ConfirmForm(forms.Form):
    """The bytes that were checked, and the answer to the doubts there were."""

    checked = forms.CharField(strip=False)
    mark = forms.CharField(required=False)
    are_others = forms.BooleanField(required=False)

    @property
    def seen(self) -> str:
        """The mark of the doubts that were answered; empty while the box is not ticked."""
        cleaned = self.cleaned_data
        return str(cleaned.get("mark", "")) if cleaned.get("are_others") else ""


def sealed(raw: bytes, kind: ListKind, user: User) -> str:
    """The very bytes that were checked, signed for this kind of list and person."""
    return uploads.sealed(raw, _purpose(kind, user))


def unsealed(text: str, kind: ListKind, user: User) -> bytes:
    """The bytes again. Raises FileForgotten when changed, too old, or sealed for another."""
    return uploads.unsealed(text, _purpose(kind, user))


def _purpose(kind: ListKind, user: User) -> str:
    return f"list-import:{kind}:{user.pk}"

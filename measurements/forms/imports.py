"""The upload of past sessions, and the checked bytes on their way to the confirmation."""

from typing import Any

from django import forms
from django.core import signing

from clinic.clients.models import Episode
from clinic.common.forms import PlainForm
from measurements.errors import FileForgotten, FileTooLarge
from measurements.sentences import sentence

MOST_MB = 8
# A checked file can be confirmed for this long.
KEPT_S = 2 * 60 * 60


class UploadForm(PlainForm):
    """A CSV file."""

    sentence = staticmethod(sentence)

    file = forms.FileField(
        label="CSV file",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv", "class": "form-control"}),
        error_messages={"required": "Choose a file first.", "empty": "The file is empty."},
    )

    def clean_file(self) -> bytes:
        upload = self.cleaned_data["file"]
        if upload.size > MOST_MB * 1024 * 1024:
            raise forms.ValidationError(sentence(FileTooLarge(MOST_MB)))
        return bytes(upload.read())


class AsBytes:
    """Signs bytes as they are."""

    def dumps(self, raw: bytes) -> bytes:
        return raw

    def loads(self, raw: bytes) -> bytes:
        return raw


def sealed(raw: bytes, episode: Episode, user: Any) -> str:
    """The very bytes that were checked, signed for this episode and person, packed small."""
    return signing.dumps(raw, salt=_salt(episode, user), serializer=AsBytes, compress=True)


def unsealed(text: str, episode: Episode, user: Any) -> bytes:
    """The bytes again. Raises FileForgotten when changed, too old, or sealed for another."""
    try:
        found: bytes = signing.loads(
            text, salt=_salt(episode, user), serializer=AsBytes, max_age=KEPT_S
        )
    except signing.BadSignature as error:
        raise FileForgotten from error
    return found


def _salt(episode: Episode, user: Any) -> str:
    return f"girths-import:{episode.pk}:{user.pk}"

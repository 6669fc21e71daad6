"""The upload of past sessions, and the checked bytes on their way to the confirmation."""

from typing import Any

from django import forms

from clinic.clients.models import Episode
from clinic.common import uploads
from measurements.sentences import sentence


class UploadForm(uploads.UploadForm):
    """A CSV file."""

    sentence = staticmethod(sentence)

    file = forms.FileField(
        label="CSV file",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv", "class": "form-control"}),
        error_messages=uploads.NO_FILE,
    )


def sealed(raw: bytes, episode: Episode, user: Any) -> str:
    """The very bytes that were checked, signed for this episode and person, packed small."""
    return uploads.sealed(raw, _purpose(episode, user))


def unsealed(text: str, episode: Episode, user: Any) -> bytes:
    """The bytes again. Raises FileForgotten when changed, too old, or sealed for another."""
    return uploads.unsealed(text, _purpose(episode, user))


def _purpose(episode: Episode, user: Any) -> str:
    return f"girths-import:{episode.pk}:{user.pk}"

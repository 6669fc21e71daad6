"""A file that is checked first and kept after a confirmation: the upload, and its bytes between."""

from django import forms
from django.core import signing

from clinic.common.errors import RuleBroken
from clinic.common.file_errors import FileForgotten, FileTooLarge
from clinic.common.file_sentences import FILE_SENTENCES
from clinic.common.forms import PlainForm

MOST_MB = 8
# A checked file can be confirmed for this long.
KEPT_S = 2 * 60 * 60
NO_FILE = {"required": "Choose a file first.", "empty": "The file is empty."}


def file_sentence(error: RuleBroken) -> str:
    return FILE_SENTENCES[type(error)](error)


class UploadForm(PlainForm):
    """A form whose field `file` becomes bytes of a bearable size."""

    sentence = staticmethod(file_sentence)

    file = forms.FileField(error_messages=NO_FILE)

    def clean_file(self) -> bytes:
        upload = self.cleaned_data["file"]
        if upload.size > MOST_MB * 1024 * 1024:
            raise forms.ValidationError(file_sentence(FileTooLarge(MOST_MB)))
        return bytes(upload.read())


class AsBytes:
    """Signs bytes as they are."""

    def dumps(self, raw: bytes) -> bytes:
        return raw

    def loads(self, raw: bytes) -> bytes:
        return raw


def sealed(raw: bytes, purpose: str) -> str:
    """The very bytes that were checked, signed for one purpose, packed small."""
    return signing.dumps(raw, salt=purpose, serializer=AsBytes, compress=True)


def unsealed(text: str, purpose: str) -> bytes:
    """The bytes again. Raises FileForgotten when changed, too old, or sealed for another."""
    try:
        found: bytes = signing.loads(text, salt=purpose, serializer=AsBytes, max_age=KEPT_S)
    except signing.BadSignature as error:
        raise FileForgotten from error
    return found

"""The upload of a size chart, and the checked bytes on their way to the confirmation."""

from typing import Any

from django import forms

from clinic.common import uploads
from clinic.common.choices import choices_of
from clinic.common.forms import PlainForm
from clinic.common.vocabulary import Limb
from programmes.models import SizeChart
from programmes.sentences import sentence


class ChartFactsForm(PlainForm):
    """What a chart is called, which limb it is for, where its levels are counted from."""

    sentence = staticmethod(sentence)

    name = forms.CharField(max_length=60, label="Name of the chart")
    limb = forms.ChoiceField(label="Limb", choices=choices_of(Limb))
    start_landmark = forms.CharField(
        max_length=120,
        label="Levels counted from",
        help_text="The landmark of your protocol, such as ulnar styloid.",
    )

    def chart(self) -> SizeChart:
        said = self.cleaned_data
        return SizeChart(
            name=said["name"], limb=said["limb"], start_landmark=said["start_landmark"]
        )


class ChartUploadForm(uploads.UploadForm, ChartFactsForm):
    """The same with the CSV file."""

    sentence = staticmethod(sentence)

    file = forms.FileField(
        label="CSV file",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv", "class": "form-control"}),
        error_messages=uploads.NO_FILE,
    )
    field_order = ["name", "limb", "start_landmark", "file"]


def sealed(raw: bytes, user: Any) -> str:
    """The very bytes that were checked, signed for this person, packed small."""
    return uploads.sealed(raw, f"size-chart:{user.pk}")


def unsealed(text: str, user: Any) -> bytes:
    """The bytes again. Raises FileForgotten when changed, too old, or sealed for another."""
    return uploads.unsealed(text, f"size-chart:{user.pk}")

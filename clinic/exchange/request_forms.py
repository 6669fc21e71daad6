"""What clients ask about their own record, as forms."""

from typing import Any

from django import forms

from clinic.clients.forms.pieces import ClientsForm, ClientsModelForm, DayField
from clinic.clients.record_requests import CopyRequest, CorrectionRequest, HandedOver
from clinic.common.choices import choices_of
from clinic.common.forms import form_layout

NO_COPY = "none"
SAY_WHY = "Say why no copy is given."
SAY_NOTHING = "A copy is handed over: empty this, or choose that no copy is given."
ACCEPTED, REFUSED = "accepted", "refused"


class AskCopyForm(ClientsModelForm):
    """A copy asked for."""

    asked_on = DayField(label="Asked on")

    class Meta:
        model = CopyRequest
        fields = ["asked_on", "asked_by", "identity", "with_accesses"]

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = (("asked_on", "asked_by"), "identity", "with_accesses")
        self.helper = form_layout(*rows, save="Keep the request", back=back)


class CloseCopyForm(ClientsForm):
    """How a copy was handed over, or why none is given."""

    closed_on = DayField(label="On")
    handed_over = forms.ChoiceField(
        label="Handed over",
        choices=[("", "Choose"), *choices_of(HandedOver), (NO_COPY, "No copy is given")],
    )
    refused_because = forms.CharField(
        label="Because", max_length=300, required=False, help_text="Only where no copy is given."
    )

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = (("closed_on", "handed_over"), "refused_because")
        self.helper = form_layout(*rows, save="Keep the answer", back=back)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        is_said, handed_over = bool(cleaned.get("refused_because")), cleaned.get("handed_over")
        if handed_over and is_said != (handed_over == NO_COPY):
            self.add_error("refused_because", SAY_NOTHING if is_said else SAY_WHY)
        return cleaned

    @property
    def is_refusal(self) -> bool:
        return bool(self.cleaned_data["handed_over"] == NO_COPY)


class AskCorrectionForm(ClientsModelForm):
    """A correction asked for."""

    asked_on = DayField(label="Asked on")

    class Meta:
        model = CorrectionRequest
        fields = ["asked_on", "asked_by", "claimed_wrong", "wished"]
        widgets = {name: forms.Textarea(attrs={"rows": 4}) for name in ("claimed_wrong", "wished")}

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = (("asked_on", "asked_by"), "claimed_wrong", "wished")
        self.helper = form_layout(*rows, save="Keep the request", back=back)


class AnswerForm(ClientsForm):
    """The answer to a correction asked for."""

    closed_on = DayField(label="Answered on")
    is_accepted = forms.ChoiceField(
        label="Answer",
        choices=[("", "Choose"), (ACCEPTED, "Accepted"), (REFUSED, "Refused")],
    )
    answer = forms.CharField(
        label="What was done, or why nothing is",
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text="The client reads these words. Correct the record itself where it stands: by an"
        " edit, an addendum, a session struck out.",
    )

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = (("closed_on", "is_accepted"), "answer")
        self.helper = form_layout(*rows, save="Keep the answer", back=back)

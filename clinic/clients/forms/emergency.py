"""Why the front desk opens a client's precautions, and what the lead found."""

from typing import Any

from django import forms
from django.urls import reverse

from clinic.clients.forms.pieces import ClientsForm
from clinic.clients.models import Client
from clinic.common.forms import form_layout

# Shorter than this is no reason that anybody could review.
SHORTEST = 10


def _sentence(label: str, help_text: str) -> forms.CharField:
    field = forms.CharField(label=label, max_length=300, help_text=help_text)
    field.widget = forms.Textarea(attrs={"rows": 2, "maxlength": 300})
    return field


class ReasonForm(ClientsForm):
    """What happened."""

    reason = _sentence("What has happened?", "One sentence; the clinic lead reads it.")

    def __init__(self, *args: Any, client: Client, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            "reason", save="Show the precautions", back=reverse("client", args=[client.pk])
        )

    def clean_reason(self) -> str:
        reason = str(self.cleaned_data["reason"])
        if len(reason) < SHORTEST:
            raise forms.ValidationError(
                "Say in a few words what has happened, for example: fainted in the waiting room."
            )
        return reason


class ReviewForm(ClientsForm):
    """What the lead found."""

    review = _sentence("What did you find?", "For example: ambulance called, access was right.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout("review", save="Keep the review", back=reverse("emergencies"))

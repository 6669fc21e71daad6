"""Forms about what was done to a body, and what stands against treating it."""

from typing import Any

from django import forms

from clinic.clients.forms.pieces import (
    EMPTY_CHOICE,
    ClientsForm,
    ClientsModelForm,
    DayField,
)
from clinic.clients.models import (
    DrugTreatment,
    Irradiation,
    NodeSurgery,
    PrecautionFound,
    Surgery,
)
from clinic.common.forms import form_layout

UNKNOWN_DAY = "Leave empty if unknown."


class TreatmentForm(ClientsModelForm):
    """What every cancer treatment has in common."""

    done_on = DayField(label="Date", required=False, help_text=UNKNOWN_DAY)
    rows: list[Any] = []

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(*self.rows, "note", save="Add treatment", back=back)


class SurgeryForm(TreatmentForm):
    rows = [("operation", "side"), "done_on"]

    class Meta:
        model = Surgery
        fields = ["operation", "side", "done_on", "note"]


class NodeSurgeryForm(TreatmentForm):
    rows = [("procedure", "basin", "side"), ("nodes_removed", "nodes_positive", "done_on")]

    class Meta:
        model = NodeSurgery
        fields = [
            "procedure",
            "basin",
            "side",
            "nodes_removed",
            "nodes_positive",
            "done_on",
            "note",
        ]
        help_texts = {"nodes_removed": UNKNOWN_DAY, "nodes_positive": UNKNOWN_DAY}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        removed, positive = cleaned.get("nodes_removed"), cleaned.get("nodes_positive")
        if removed is not None and removed > 100:
            self.add_error(
                "nodes_removed", "More than 100 nodes cannot be right. Check the report."
            )
        if positive is not None and removed is None and "nodes_removed" in cleaned:
            self.add_error("nodes_removed", "Type how many were removed as well.")
        if positive is not None and removed is not None and positive > removed:
            self.add_error("nodes_positive", f"At most the {removed} that were removed.")
        return cleaned


class IrradiationForm(TreatmentForm):
    rows = [("field", "side"), "done_on"]

    class Meta:
        model = Irradiation
        fields = ["field", "side", "done_on", "note"]


class DrugTreatmentForm(TreatmentForm):
    done_on = DayField(label="Started", required=False, help_text=UNKNOWN_DAY)
    ended_on = DayField(label="Ended", required=False, help_text="Leave empty if still going on.")
    rows = ["drugs", ("done_on", "ended_on")]

    class Meta:
        model = DrugTreatment
        fields = ["drugs", "done_on", "ended_on", "note"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        started, ended = cleaned.get("done_on"), cleaned.get("ended_on")
        if started and ended and ended < started:
            self.add_error("ended_on", "This is before the start. Choose the start or a later day.")
        return cleaned


TREATMENT_FORMS: dict[str, type[TreatmentForm]] = {
    "surgery": SurgeryForm,
    "nodes": NodeSurgeryForm,
    "radiation": IrradiationForm,
    "drugs": DrugTreatmentForm,
}


class PrecautionForm(ClientsModelForm):
    """A precaution found on a day."""

    found_on = DayField(label="Found on")

    class Meta:
        model = PrecautionFound
        fields = ["precaution", "found_on", "note"]

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = sorted(self.fields["precaution"].choices[1:], key=lambda choice: choice[1])
        self.fields["precaution"].choices = [("", EMPTY_CHOICE), *choices]
        self.helper = form_layout(
            "precaution", "found_on", "note", save="Record precaution", back=back
        )


class ClearPrecautionForm(ClientsForm):
    """The end of a precaution, with its reason."""

    cleared_on = DayField(label="Cleared on")
    reason = forms.CharField(max_length=200, label="Reason")

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout("cleared_on", "reason", save="Clear precaution", back=back)

"""Forms of keeping: which record to merge, which details to take, periods, why to erase."""

from typing import Any

from crispy_forms.layout import HTML
from django import forms
from django.urls import reverse

from clinic.clients.models import Client
from clinic.common.choices import choices_of
from clinic.common.forms import PlainForm, PlainModelForm, form_layout
from clinic.keeping.models import ErasureGround, RetentionRule
from clinic.keeping.selectors.merging import Difference
from clinic.keeping.sentences import sentence


class OtherRecordForm(PlainForm):
    """The number of the record that is the same person."""

    record_number = forms.CharField(
        max_length=20, label="Record number of the other record", strip=True
    )

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout("record_number", save="Compare the two", back=back)


class MergeForm(PlainForm):
    """For each detail on which the two differ: which one holds. And the confirmation."""

    sentence = staticmethod(sentence)
    is_sure = forms.BooleanField(
        label="I have compared the two: they are one person. I know that this cannot be undone.",
        error_messages={"required": "Tick this when you have compared the two records."},
    )

    def __init__(
        self, *args: Any, differences: tuple[Difference, ...], back: str, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.names = [each.name for each in differences]
        for each in differences:
            self.fields[each.name] = forms.ChoiceField(
                choices=[("kept", each.kept), ("other", each.other)],
                widget=forms.RadioSelect(attrs={"class": "form-check-input"}),
                label=each.label,
                initial="other" if each.takes_other else "kept",
            )
        fields = [HTML('{% include "keeping/_merge_details.html" %}')] if differences else []
        self.helper = form_layout(*fields, "is_sure", save="Merge the two records", back=back)

    @property
    def details(self) -> list[forms.BoundField]:
        return [self[name] for name in self.names]

    def taking(self) -> list[str]:
        return [name for name in self.names if self.cleaned_data[name] == "other"]


class RetentionForm(PlainModelForm):
    """The clinic's own periods."""

    class Meta:
        model = RetentionRule
        fields = ["years_after_last_visit", "majority_age", "years_after_majority"]
        help_texts = {
            "years_after_last_visit": "For everybody, at least.",
            "majority_age": "As the clinic's state has it.",
            "years_after_majority": "A minor's record is kept to the later of the two.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            ("years_after_last_visit", "majority_age", "years_after_majority"),
            save="Save",
            back=reverse("retention"),
        )


class HoldForm(PlainForm):
    """Why a record must not be erased."""

    sentence = staticmethod(sentence)
    reason = forms.CharField(
        max_length=200,
        label="Why it must be kept",
        help_text="Whoever asks for an erasure reads it: for example who announced a claim, and"
        " when.",
    )

    def __init__(self, *args: Any, client: Client, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        back = reverse("client", args=[client.pk])
        self.helper = form_layout("reason", save="Hold this record", back=back)


class LiftForm(PlainForm):
    """Why a record may go again."""

    sentence = staticmethod(sentence)
    because = forms.CharField(max_length=200, label="Why it need not be held any longer")

    def __init__(self, *args: Any, client: Client, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        back = reverse("client-hold", args=[client.pk])
        self.helper = form_layout("because", save="Lift the hold", back=back)


class ErasureForm(PlainForm):
    """Why a record is to be erased."""

    sentence = staticmethod(sentence)
    ground = forms.ChoiceField(choices=choices_of(ErasureGround), widget=forms.RadioSelect)
    reason = forms.CharField(
        max_length=200,
        label="Reason",
        help_text="It stays for good, so nothing of the record's content: for example"
        " who asked when, or the number of the court's order.",
    )

    def __init__(self, *args: Any, client: Client, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        back = reverse("client", args=[client.pk])
        self.helper = form_layout("ground", "reason", save="Ask for the erasure", back=back)


class ConfirmErasureForm(PlainForm):
    """The second person types the record number, so that no other record goes by mistake."""

    sentence = staticmethod(sentence)
    record_number = forms.CharField(max_length=20, label="Type the record number to confirm")

    def __init__(self, *args: Any, record_number: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._record_number = record_number
        self.fields["record_number"].widget.attrs["autocomplete"] = "off"
        self.helper = form_layout("record_number", save="Erase for good", back=reverse("erasures"))

    def clean_record_number(self) -> str:
        typed: str = self.cleaned_data["record_number"]
        if typed != self._record_number:
            raise forms.ValidationError(f"Type {self._record_number}, exactly as it stands above.")
        return typed

"""Form pieces of this app: days as people write them, edits of two people, bare layouts."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Layout
from django import forms
from django.http import QueryDict

from clinic.clients import editing
from clinic.clients.errors import ChangedMeanwhile
from clinic.clients.models import Referrer
from clinic.clients.sentences import sentence
from clinic.clients.spellings import DAY_FORMATS
from clinic.common.forms import PlainForm, PlainModelForm, form_layout

EMPTY_CHOICE = "Choose"
DIFFERENCES = HTML('{% include "clients/_differences.html" %}')
LOOK_ALIKES = HTML('{% include "clients/_look_alikes.html" %}')
NOT_A_DAY = "This is not a day. Write it like 4 Mar 1961, 1961-03-04 or 3/4/1961."


class DayField(forms.DateField):
    """A day in any of the usual spellings, shown as 4 Mar 1961. Text, so that nothing is lost."""

    default_error_messages = {"invalid": NOT_A_DAY}

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", "Like 4 Mar 2026 or 3/4/2026 (month first).")
        widget = forms.DateInput(format="%-d %b %Y", attrs={"autocomplete": "off"})
        super().__init__(input_formats=DAY_FORMATS, widget=widget, **kwargs)

    def to_python(self, value: Any) -> date | None:
        return super().to_python(" ".join(value.split()) if isinstance(value, str) else value)


class ReferrerChoice(forms.ModelChoiceField):
    """Referrers as the list sorts them: family name first, then where they work."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("empty_label", "Nobody, or not yet known")
        super().__init__(required=False, **kwargs)

    def label_from_instance(self, referrer: Any) -> str:
        return referrer_label(referrer)


def referrer_label(referrer: Referrer) -> str:
    name = (
        f"{referrer.family_name}, {' '.join(filter(None, [referrer.title, referrer.given_name]))}"
    )
    return f"{name} ({referrer.organisation})" if referrer.organisation else name


class ClientsForm(PlainForm):
    """A form whose broken rules are worded by this app."""

    sentence = staticmethod(sentence)


class ClientsModelForm(PlainModelForm):
    """The same for a model."""

    sentence = staticmethod(sentence)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, forms.TypedChoiceField) and field.choices[0][0] == "":
                field.choices = [("", EMPTY_CHOICE), *field.choices[1:]]


@dataclass(frozen=True)
class Difference:
    """A field that two people have filled in differently."""

    label: str
    theirs: str
    yours: str
    is_taken: bool  # theirs stands in the field now, because this person had not touched it


class EditedTogether(ClientsModelForm):
    """A form that carries what it showed, so that a save can notice another person's."""

    before = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.differences: list[Difference] = []
        self.watched = [name for name in self._meta.fields or () if name in self.fields]
        if not self.instance._state.adding and not self.is_bound:
            said = editing.said_by(self.instance, self.watched)
            self.initial["before"] = editing.written(said)

    def said_before(self) -> editing.Said:
        said = editing.read(self.cleaned_data.get("before", ""))
        return {name: said.get(name, "") for name in self.watched} if said else {}

    def _show(self, error: Exception) -> None:
        if isinstance(error, ChangedMeanwhile):
            self._show_theirs(error)
        super()._show(error)

    def _show_theirs(self, error: ChangedMeanwhile) -> None:
        """Fill in theirs where this person had changed nothing, list both where they had."""
        before = self.said_before()
        theirs = editing.said_by(error.stored, self.watched)
        yours = editing.said_by(self.instance, self.watched)
        self.data = answers = self.data.copy()
        for name in self.watched:
            if theirs[name] == yours[name]:
                continue
            is_taken = before.get(name) == yours[name]
            if is_taken or before.get(name) != theirs[name]:
                self.differences.append(self._difference(name, error, is_taken=is_taken))
            if is_taken:
                _answer(answers, name, theirs)
        answers["before"] = editing.written(theirs)

    def _difference(self, name: str, error: ChangedMeanwhile, *, is_taken: bool) -> Difference:
        return Difference(
            label=str(self.fields[name].label),
            theirs=_shown(error.stored, name),
            yours=_shown(self.instance, name),
            is_taken=is_taken,
        )


def _answer(answers: QueryDict, name: str, said: Mapping[str, str]) -> None:
    """Fill a field as the browser would send it."""
    answers[name] = "" if said[name] == "None" else said[name]
    if said[name] == "False":
        del answers[name]


def _shown(record: Any, name: str) -> str:
    display = getattr(record, f"get_{name}_display", None)
    value = display() if display else getattr(record, name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:%-d %b %Y}" if isinstance(value, date) else str(value or "(empty)")


def rows_only(*rows: Any) -> FormHelper:
    """A layout for a form inside another form: no form element, no buttons."""
    helper = form_layout(*rows, save="")
    helper.layout = Layout(*helper.layout.fields[:-1])
    helper.form_tag = False
    helper.disable_csrf = True
    return helper

"""Form pieces every app uses."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Div, Field, Layout, Submit
from django import forms
from django.core.exceptions import ValidationError

from clinic.common.errors import RuleBroken


class DateInput(forms.DateInput):
    """The browser's own date field; the value travels as 2026-03-04 whatever the locale."""

    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


class TimeInput(forms.TimeInput):
    input_type = "time"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%H:%M", **kwargs)


def form_layout(*rows: Any, save: str, back: str = "") -> FormHelper:
    """A helper whose rows are field names, or tuples of names that stand side by side.

    `save` labels the button; `back` is the address of "Cancel".
    """
    helper = FormHelper()
    # Errors are ours, beside the field, and read aloud. A browser keeps nothing of what is typed
    # to offer it to the next person at the desk.
    helper.attrs = {"novalidate": "", "autocomplete": "off"}
    cancel = [HTML(f'<a class="btn btn-link" href="{back}">Cancel</a>')] if back else []
    helper.layout = Layout(
        *(_side_by_side(row) if isinstance(row, tuple) else row for row in rows),
        Div(Submit("save", save), *cancel, css_class="actions"),
    )
    return helper


def _side_by_side(names: tuple[str, ...]) -> Div:
    return Div(*(Div(Field(name), css_class="col-md") for name in names), css_class="row")


class Catching(forms.BaseForm):
    """Lets a view run a service and puts a broken rule's sentence beside its field."""

    sentence: Callable[[RuleBroken], str] = staticmethod(str)

    @contextmanager
    def catching(self, *kinds: type[Exception]) -> Iterator[None]:
        """Swallow the named errors and show each beside its field, or above the form."""
        try:
            yield
        except kinds as error:
            self._show(error)

    def _show(self, error: Exception) -> None:
        if isinstance(error, ValidationError):
            self._show_validation(error)
            return
        field = getattr(error, "field", None)
        self.add_error(field if field in self.fields else None, self.sentence(error))

    def _show_validation(self, error: ValidationError) -> None:
        if not hasattr(error, "error_dict"):
            self.add_error(None, error)
            return
        for field, errors in error.error_dict.items():
            self.add_error(field if field in self.fields else None, errors)


class PlainForm(Catching, forms.Form):
    """A form whose broken rules appear beside their fields."""


class PlainModelForm(Catching, forms.ModelForm):
    """The same for a model. It never saves: a service does."""

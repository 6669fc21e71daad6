"""What the address of a calendar page asks for; what cannot be read counts as not asked."""

from datetime import date

from django import forms

from clinic.common.choices import choices_of
from clinic.scheduling.selectors.calendar import Reach, Rows, View


class ViewForm(forms.Form):
    on = forms.DateField(required=False)
    show = forms.ChoiceField(choices=choices_of(Reach), required=False)
    by = forms.ChoiceField(choices=choices_of(Rows), required=False)
    only = forms.IntegerField(required=False)

    def view(self, *, today: date) -> View:
        self.is_valid()
        asked = self.cleaned_data
        return View(
            on=asked.get("on") or today,
            reach=Reach(asked.get("show") or Reach.DAY),
            rows=Rows(asked.get("by") or Rows.THERAPIST),
            only_id=asked.get("only"),
        )

"""What the caseload is asked for, as a form, as an address and as a saved view."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django import forms

from clinic.accounts.models import SavedView, User
from clinic.common.choices import choices_of
from clinic.common.forms import PlainModelForm, form_layout
from clinic.common.vocabulary import Phase, Region
from clinic.overview.caseload import EVERYONE, MINE, Asked, DueBy, JudgedAs, Order
from clinic.overview.concern import FlagKind

# In the address in place of words that were searched for: those stay on the server.
SEARCH, KEPT = "search", "kept"
OPEN_PHASES = [pair for pair in choices_of(Phase) if pair[0] != Phase.DISCHARGED]
ORDERS = [(sign + order, order.label) for order in Order for sign in ("", "-")]

Query = dict[str, str]

# Headings, and what the list can be sorted by.
LABELS = {
    Order.CONCERN: "Attention",
    Order.NAME: "Client",
    Order.THERAPIST: "Therapist",
    Order.REGION: "Region",
    Order.STAGE: "Stage",
    Order.PHASE: "Phase",
    Order.EXCESS: "Excess",
    Order.CHANGE: "Since before",
    Order.VISITS: "Visits",
    Order.NEXT: "Next booking",
    Order.DUE: "Due",
    Order.FLAGS: "Flags",
}
# Not turned round, these begin with the most of it; the others with the least, earliest or first.
MOST_FIRST = frozenset(
    {Order.CONCERN, Order.STAGE, Order.EXCESS, Order.CHANGE, Order.VISITS, Order.FLAGS}
)


class CaseloadForm(forms.Form):
    """Filters and order. Words are sent by POST: names do not belong in an address."""

    whose = forms.ChoiceField(label="Whose clients", required=False)
    phase = forms.ChoiceField(choices=[("", "Any phase"), *OPEN_PHASES], required=False)
    region = forms.ChoiceField(choices=[("", "Any region"), *choices_of(Region)], required=False)
    judged = forms.ChoiceField(
        choices=[("", "Any verdict"), *choices_of(JudgedAs)], label="Girths say", required=False
    )
    due = forms.ChoiceField(choices=[("", "Due or not"), *choices_of(DueBy)], required=False)
    flag = forms.ChoiceField(choices=[("", "All"), *choices_of(FlagKind)], required=False)
    order = forms.ChoiceField(choices=ORDERS, label="Sorted by", required=False)
    words = forms.CharField(max_length=200, label="Client", required=False)
    page = forms.IntegerField(min_value=1, required=False)

    def __init__(self, *args: Any, therapists: Iterable[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        others = [(str(one.pk), one.display_name) for one in therapists]
        self.fields["whose"].choices = [(MINE, "My own"), (EVERYONE, "Everyone's"), *others]  # type: ignore[attr-defined]
        self.fields["order"].widget = forms.Select(
            choices=[(order.value, LABELS[order]) for order in Order]
        )
        self.fields["words"].widget.attrs |= {"data-key": "f", "autocomplete": "off"}
        for field in self.fields.values():
            is_select = isinstance(field.widget, forms.Select)
            field.widget.attrs["class"] = "form-select" if is_select else "form-control"

    def asked(self, *, words: str = "") -> Asked:
        """As asked; what cannot be read counts as not asked."""
        told = self.cleaned_data if self.is_valid() else getattr(self, "cleaned_data", {})
        order = told.get("order") or Order.CONCERN.value
        return Asked(
            whose=told.get("whose") or MINE,
            phase=Phase(told["phase"]) if told.get("phase") else None,
            region=Region(told["region"]) if told.get("region") else None,
            judged=JudgedAs(told["judged"]) if told.get("judged") else None,
            due=DueBy(told["due"]) if told.get("due") else None,
            flag=FlagKind(told["flag"]) if told.get("flag") else None,
            order=Order(order.removeprefix("-")),
            is_descending=order.startswith("-"),
            words=words,
            page=told.get("page") or 1,
        )


def shown_form(asked: Asked, therapists: Iterable[User]) -> CaseloadForm:
    """The form filled in with what is shown, so that it never says anything else."""
    filled = query_of(asked) | {"order": asked.order.value, "words": asked.words}
    return CaseloadForm(initial=filled, therapists=therapists)


def said(asked: Asked, therapists: Iterable[User]) -> list[str]:
    """What is asked for in words, for paper; the words of a search are left out there, too."""
    names = {str(one.pk): one.display_name for one in therapists}
    whose = {MINE: "My clients", EVERYONE: "Everyone’s"} | names
    filters = (asked.phase, asked.region, asked.judged, asked.due, asked.flag)
    return [whose.get(asked.whose, ""), *(each.label for each in filters if each)]


def query_of(asked: Asked) -> Query:
    """What is asked for as it stands in an address and in a saved view: no words, no page."""
    order = ("-" if asked.is_descending else "") + asked.order
    narrowed = {
        "phase": asked.phase,
        "region": asked.region,
        "judged": asked.judged,
        "due": asked.due,
        "flag": asked.flag,
        "order": "" if order == Order.CONCERN else order,
    }
    return {"whose": asked.whose} | {name: str(value) for name, value in narrowed.items() if value}


def address_of(asked: Asked, **differences: str) -> str:
    """The query of an address that asks for the same, but for the differences."""
    kept = {SEARCH: KEPT} if asked.words else {}
    return urlencode(
        {name: value for name, value in (query_of(asked) | kept | differences).items()}
    )


@dataclass(frozen=True)
class Column:
    """A heading that sorts; `sorted_as` is the value of aria-sort, empty where it does not."""

    order: Order
    label: str
    query: str
    sorted_as: str


def columns(asked: Asked) -> dict[str, Column]:
    """Every heading by its order; the one in use turns the order round."""
    return {order.value: _column(order, label, asked) for order, label in LABELS.items()}


def _column(order: Order, label: str, asked: Asked) -> Column:
    is_now = asked.order is order
    turned = "-" if is_now and not asked.is_descending else ""
    falls = asked.is_descending is not (order in MOST_FIRST)
    now = "descending" if falls else "ascending"
    return Column(order, label, address_of(asked, order=turned + order), now if is_now else "")


@dataclass(frozen=True)
class Tab:
    """A way to open the list: the person's own clients, everyone's, or a saved view."""

    label: str
    query: str
    is_current: bool
    view_id: int | None = None
    opens_first: bool = False


def tabs(asked: Asked, views: Sequence[SavedView]) -> list[Tab]:
    """What stands above the list; the one that is shown as it was saved is current."""
    own = [("My clients", {"whose": MINE}), ("Everyone’s", {"whose": EVERYONE})]
    now = query_of(asked) if not asked.words else {}
    opens_first = any(view.is_default for view in views)
    fixed = [
        Tab(label, urlencode(query), query == now, opens_first=not place and not opens_first)
        for place, (label, query) in enumerate(own)
    ]
    saved = [
        Tab(view.name, urlencode(view.asked), view.asked == now, view.pk, view.is_default)
        for view in views
    ]
    return [*fixed, *saved]


def opened_with(query: Mapping[str, Any], views: Sequence[SavedView]) -> Mapping[str, Any]:
    """What an address asks for; without a word, the view that opens first, else one's own."""
    if query:
        return query
    return next((view.asked for view in views if view.is_default), {"whose": MINE})


class ViewForm(PlainModelForm):
    """The name of a view, and whether it opens first."""

    class Meta:
        model = SavedView
        fields = ["name", "is_default"]

    def __init__(self, *args: Any, back: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["is_default"].label = "Opens first, instead of my own clients"
        self.helper = form_layout("name", "is_default", save="Save view", back=back)

"""The caseload, and the views of it that a person saved."""

from collections.abc import Iterable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from clinic.accounts import services
from clinic.accounts.models import SavedView, User
from clinic.accounts.permits import permit
from clinic.accounts.selectors import saved_views
from clinic.audit import services as audit
from clinic.clients.selectors import therapists
from clinic.common.methods import look_or_send
from clinic.overview import caseload_forms as forms
from clinic.overview.caseload import MINE, Asked
from clinic.overview.caseload_page import caseload as caseload_page

SECTION = {"section": "caseload"}
WORDS = "caseload_words"  # in the session: what was searched for


@permit("caseload.see")
@look_or_send
def caseload(request: HttpRequest) -> HttpResponse:
    if request.method == "POST":
        return _searched(request)
    people, views, day = list(therapists()), list(saved_views(request.user)), timezone.localdate()
    is_search = request.GET.get(forms.SEARCH) == forms.KEPT
    form = forms.CaseloadForm(forms.opened_with(request.GET, views), therapists=people)
    asked = form.asked(words=request.session.get(WORDS, "") if is_search else "")
    shown = {
        "asked": asked,
        "found": caseload_page(request.user, asked, today=day),
        "form": forms.shown_form(asked, people),
        "columns": forms.columns(asked),
        "tabs": forms.tabs(asked, views),
        "said": forms.said(asked, people),
        "query": forms.address_of(asked),
        "today": day,
    }
    # One entry for the look at the page; a client's own page has its own for each client.
    audit.record(request.user, "caseload.seen", subject=_whose(asked, request.user, people))
    return render(request, "overview/caseload.html", shown | SECTION)


def _whose(asked: Asked, user: User, people: Iterable[User]) -> User | None:
    """The person whose list was looked at; None for everyone's."""
    if asked.whose == MINE:
        return user
    return next((one for one in people if str(one.pk) == asked.whose), None)


def _searched(request: HttpRequest) -> HttpResponse:
    """Keeps the words on the server and shows the list at an address that can be gone back to."""
    form = forms.CaseloadForm(request.POST, therapists=therapists())
    asked = form.asked(words=request.POST.get("words", "")[:200].replace("\0", "").strip())
    request.session[WORDS] = asked.words
    return redirect(f"{reverse('caseload')}?{forms.address_of(asked)}")


@permit("caseload.see")
@look_or_send
def save_view(request: HttpRequest, view_id: int | None = None) -> HttpResponse:
    """Give what the address asks for a name, or another name to a view."""
    view = _own_view(request, view_id) if view_id else _new_view(request)
    back = f"{reverse('caseload')}?{forms.urlencode(view.asked)}"
    form = forms.ViewForm(request.POST or None, instance=view, back=back)
    if form.is_valid():
        with form.catching(ValidationError):
            services.keep_view(view=form.instance)
            messages.success(request, f"Saved the view “{view.name}”.")
            return redirect(back)
    return render(
        request, "overview/caseload_view_form.html", {"form": form, "view": view} | SECTION
    )


def _new_view(request: HttpRequest) -> SavedView:
    asked = forms.CaseloadForm(request.GET, therapists=therapists()).asked()
    return SavedView(owner=request.user, asked=forms.query_of(asked))


def _own_view(request: HttpRequest, view_id: int) -> SavedView:
    return get_object_or_404(saved_views(request.user), pk=view_id)


@permit("caseload.see")
@require_POST
def delete_view(request: HttpRequest, view_id: int) -> HttpResponse:
    view = _own_view(request, view_id)
    services.forget_view(view=view)
    messages.success(request, f"Deleted the view “{view.name}”. The clients in it are untouched.")
    return redirect("caseload")

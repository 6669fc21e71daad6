"""Programmes given to a client: all versions, issuing, the sheet, the phone page, withdrawing."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.clients.services import note_episode_seen
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.common.print import can_print
from programmes.forms.care import IssueForm, WithdrawForm
from programmes.models import Programme
from programmes.packing import USUAL_PAGES, packed, unpacked
from programmes.pdf import handout_pdf
from programmes.selectors.adherence import adherence_of
from programmes.selectors.drafts import desk_of, last_review
from programmes.selectors.flags import withdrawal_flags
from programmes.selectors.handouts import draft_handout, given_handout
from programmes.selectors.programmes import in_hand, stored_handout, versions_of
from programmes.sentences import INSTALL, sentence
from programmes.services import issue as issuing
from programmes.views.pieces import SECTION, found_episode, found_programme


@permit("programmes.see")
@require_safe
def programmes(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = found_episode(request, episode_id)
    note_episode_seen(episode=episode, by=request.user)
    versions = list(versions_of(episode, request.user))
    context = {
        "episode": episode,
        "versions": versions,
        "draft": next((one for one in versions if not one.is_issued), None),
        "held": in_hand(episode),
        "flag": withdrawal_flags([episode]).get(episode.pk),
        "adherence": adherence_of(episode),
        "review": last_review(episode.client),
    }
    return render(request, "programmes/programmes.html", context | SECTION)


def given(request: HttpRequest, found: Programme) -> HttpResponse:
    """An issued programme as it was given."""
    issuing.note_look(programme=found, verb="programme.seen", by=request.user)
    sheet = given_handout(found)
    context = {
        "programme": found,
        "episode": found.episode,
        "sheet": sheet,
        "flag": withdrawal_flags([found.episode]).get(found.episode_id),
    }
    return render(request, "programmes/given.html", context | SECTION)


@permit("programmes.issue")
@look_or_send
def issue(request: HttpRequest, programme_id: UUID) -> HttpResponse:
    found = found_programme(request, programme_id)
    if found.is_issued:
        return redirect("programme", found.pk)
    form = IssueForm(request.POST or None, initial={"revision": found.revision})
    if form.is_valid():
        with form.catching(RuleBroken):
            issuing.issue_programme(
                programme=found,
                revision=form.cleaned_data["revision"],
                reason=form.cleaned_data["reason"],
                by=request.user,
            )
            messages.success(request, "Issued. The handout is kept exactly as it is.")
            return redirect("programme", found.pk)
    issuing.note_look(programme=found, verb="programme.seen", by=request.user)
    return _issue_page(request, found, form)


def _issue_page(request: HttpRequest, found: Programme, form: IssueForm) -> HttpResponse:
    desk = desk_of(found)
    barring = (*desk.effects.barring, *desk.effects.awaiting_clearance)
    sheet = draft_handout(desk, request.user, is_draft=False)
    context: dict[str, Any] = {
        "programme": found,
        "episode": found.episode,
        "desk": desk,
        "form": form,
        "barring": barring,
        "why_none": sentence(desk.why_none) if desk.why_none else "",
        "held": in_hand(found.episode),
        "review": last_review(found.episode.client),
        "sheet": sheet,
        "pages": packed(sheet).pages if desk.steps else 0,
        "usual_pages": USUAL_PAGES,
        "install": "" if can_print() else INSTALL,
    }
    return render(request, "programmes/issue.html", context | SECTION)


@permit("programmes.withdraw")
@look_or_send
def withdraw(request: HttpRequest, programme_id: UUID) -> HttpResponse:
    found = found_programme(request, programme_id)
    back = reverse("programme", args=[found.pk])
    form = WithdrawForm(request.POST or None, back=back)
    if form.is_valid():
        with form.catching(RuleBroken):
            issuing.withdraw_programme(
                programme=found, reason=form.cleaned_data["reason"], by=request.user
            )
            messages.success(request, "Withdrawn. Ask the client to stop and hand the sheet back.")
            return redirect("programmes", found.episode_id)
    context = {"programme": found, "episode": found.episode, "form": form}
    return render(request, "programmes/withdraw.html", context | SECTION)


@permit("programmes.see")
@require_safe
def handout(request: HttpRequest, programme_id: UUID) -> HttpResponse:
    """The very bytes that were given; of a draft, the sheet as it would be, marked as a draft."""
    found = found_programme(request, programme_id)
    try:
        content = stored_handout(found) if found.is_issued else _draft_pdf(request, found)
    except RuleBroken as error:
        context = {"programme": found, "episode": found.episode, "why_not": sentence(error)}
        return render(request, "programmes/no_handout.html", context | SECTION, status=503)
    issuing.note_look(programme=found, verb="programme.printed", by=request.user)
    named = f'inline; filename="home-programme-{found.number}.pdf"'
    return HttpResponse(
        content, content_type="application/pdf", headers={"Content-Disposition": named}
    )


def _draft_pdf(request: HttpRequest, found: Programme) -> bytes:
    return handout_pdf(draft_handout(desk_of(found), request.user))


@permit("programmes.see")
@require_safe
def phone(request: HttpRequest, programme_id: UUID) -> HttpResponse:
    """The same sheet at the width of a phone, to hand over or to print from the browser."""
    found = found_programme(request, programme_id)
    issuing.note_look(programme=found, verb="programme.seen", by=request.user)
    sheet = given_handout(found) if found.is_issued else draft_handout(desk_of(found), request.user)
    packing = unpacked(sheet)
    context = {
        "programme": found,
        "handout": sheet,
        "packed": packing,
        "layout": packing.layout,
        "is_phone": True,
    }
    return render(request, "programmes/phone.html", context | SECTION)

"""What clients ask about their own record: a copy, a correction."""

from collections.abc import Callable
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.accounts.selectors import practice_card
from clinic.audit import services as audit
from clinic.clients import request_selectors
from clinic.clients.models import Client
from clinic.clients.record_requests import CopyRequest, CorrectionRequest, HandedOver
from clinic.clients.selectors import clients_for
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.common.print import NotPrinted
from clinic.exchange import own_copy, request_forms
from clinic.exchange.selectors import own_record
from clinic.exchange.services import requests as keeping

SECTION = {"section": "clients"}
NOT_PRINTED = "The PDF could not be made. Whoever runs the server finds the reason in its log."


@permit("record.copy")
@require_safe
def waiting(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    shown = {"waiting": request_selectors.open_requests(request.user, today=today), "today": today}
    return render(request, "exchange/requests.html", shown | SECTION)


@permit("record.copy")
@look_or_send
def ask_copy(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = _client(request, client_id)
    form = request_forms.AskCopyForm(request.POST or None, initial=_today(), back=_back(client))
    if form.is_valid():
        with form.catching(RuleBroken):
            asked = keeping.ask_copy(client=client, request=form.instance, by=request.user)
            return redirect("copy", asked.pk)
    shown = {"client": client, "form": form, "title": "A copy of the record"}
    return render(request, "exchange/request_form.html", shown | SECTION)


@permit("record.copy")
@look_or_send
def copy(request: HttpRequest, copy_id: int) -> HttpResponse:
    asked = get_object_or_404(request_selectors.copies_for(request.user), pk=copy_id)
    form = request_forms.CloseCopyForm(
        request.POST or None, initial={"closed_on": timezone.localdate()}, back=_back(asked.client)
    )
    if form.is_valid():
        with form.catching(RuleBroken):
            _close_copy(request, asked, form)
            messages.success(request, "Kept.")
            return redirect("copy", asked.pk)
    audit.record(request.user, "copy.seen", client=asked.client, subject=asked)
    shown = {"asked": asked, "client": asked.client, "form": form, "today": timezone.localdate()}
    return render(request, "exchange/copy.html", shown | SECTION)


def _close_copy(
    request: HttpRequest, asked: CopyRequest, form: request_forms.CloseCopyForm
) -> None:
    told = form.cleaned_data
    on, by = told["closed_on"], request.user
    if form.is_refusal:
        keeping.refuse_copy(request=asked, on=on, because=told["refused_because"], by=by)
    else:
        how = HandedOver(told["handed_over"])
        keeping.hand_over_copy(request=asked, on=on, how=how, by=by)


@permit("record.copy")
@require_POST
def copy_pdf(request: HttpRequest, copy_id: int) -> HttpResponse:
    """The record, or the letters and programmes as they were given."""
    asked = get_object_or_404(request_selectors.copies_for(request.user), pk=copy_id)
    if request.POST.get("what") == "sheets":
        sheets = own_record.kept_sheets(asked.client)
        if not sheets:
            messages.info(request, "No letter was sent and no programme given yet.")
            return redirect("copy", asked.pk)
        audit.record(request.user, "copy.printed", client=asked.client, subject=asked)
        return _pdf(own_copy.joined_sheets(sheets), "letters-and-programmes")
    return _print(
        request, asked, lambda: own_copy.own_copy_pdf(own_record.own_copy(asked)), "copy.printed"
    )


@permit("record.copy")
@look_or_send
def ask_correction(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client, posted = _client(request, client_id), request.POST or None
    form = request_forms.AskCorrectionForm(posted, initial=_today(), back=_back(client))
    if form.is_valid():
        with form.catching(RuleBroken):
            asked = keeping.ask_correction(client=client, request=form.instance, by=request.user)
            messages.success(request, "Kept. It waits for an answer.")
            return redirect("correction", asked.pk)
    shown = {"client": client, "form": form, "title": "A correction of the record"}
    return render(request, "exchange/request_form.html", shown | SECTION)


@permit("record.copy")
@look_or_send
def correction(request: HttpRequest, correction_id: int) -> HttpResponse:
    asked = get_object_or_404(request_selectors.corrections_for(request.user), pk=correction_id)
    form = request_forms.AnswerForm(
        request.POST or None, initial={"closed_on": timezone.localdate()}, back=_back(asked.client)
    )
    if form.is_valid():
        with form.catching(RuleBroken):
            told = form.cleaned_data
            keeping.answer_correction(
                request=asked,
                on=told["closed_on"],
                is_accepted=told["is_accepted"] == request_forms.ACCEPTED,
                answer=told["answer"],
                by=request.user,
            )
            return redirect("correction", asked.pk)
    audit.record(request.user, "correction.seen", client=asked.client, subject=asked)
    shown = {"asked": asked, "client": asked.client, "form": form, "today": timezone.localdate()}
    return render(request, "exchange/correction.html", shown | SECTION)


@permit("record.copy")
@require_POST
def correction_pdf(request: HttpRequest, correction_id: int) -> HttpResponse:
    answered = request_selectors.corrections_for(request.user).filter(closed_on__isnull=False)
    asked = get_object_or_404(answered, pk=correction_id)
    practice = practice_card()
    return _print(
        request, asked, lambda: own_copy.answer_pdf(asked, practice), "correction.printed"
    )


def _print(
    request: HttpRequest,
    asked: CopyRequest | CorrectionRequest,
    made: Callable[[], bytes],
    verb: str,
) -> HttpResponse:
    try:
        pdf = made()
    except NotPrinted:
        messages.error(request, NOT_PRINTED)
        return redirect(verb.partition(".")[0], asked.pk)
    audit.record(request.user, verb, client=asked.client, subject=asked)
    return _pdf(pdf, verb.partition(".")[0])


def _pdf(content: bytes, name: str) -> HttpResponse:
    """A download named by its day and by nobody."""
    named = f'attachment; filename="{name}-{timezone.localdate():%Y-%m-%d}.pdf"'
    headers = {"Content-Disposition": named, "Cache-Control": "no-store"}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


def _client(request: HttpRequest, client_id: UUID) -> Client:
    return get_object_or_404(clients_for(request.user), pk=client_id)


def _today() -> dict[str, object]:
    return {"asked_on": timezone.localdate(), "asked_by": "the client"}


def _back(client: Client) -> str:
    return reverse("client", args=[client.pk])

"""One client's record: merged with another, exported, erased."""

from uuid import UUID

from django.contrib import messages
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.clients.selectors import clients_for, look_alikes
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.keeping.forms import ConfirmErasureForm, ErasureForm, MergeForm, OtherRecordForm
from clinic.keeping.models import ErasureGround
from clinic.keeping.selectors import retention
from clinic.keeping.selectors.merging import merge_preview
from clinic.keeping.selectors.standing import erasures
from clinic.keeping.services.erasing import ask_erasure, confirm_erasure, withdraw_erasure
from clinic.keeping.services.exporting import export_client
from clinic.keeping.services.merging import merge_clients

SECTION = {"section": "clients"}


def _client(request: HttpRequest, client_id: UUID) -> Client:
    return get_object_or_404(clients_for(request.user), pk=client_id)


# Merging


@permit("clients.merge")
@look_or_send
def choose_other(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = _client(request, client_id)
    form = OtherRecordForm(request.POST or None, back=reverse("client", args=[client_id]))
    if form.is_valid():
        number = form.cleaned_data["record_number"]
        other = clients_for(request.user).filter(record_number=number).exclude(pk=client_id)
        if found := other.first():
            return redirect("client-merge-with", client_id, found.pk)
        form.add_error("record_number", "No other record has this number. Type it as it stands.")
    shown = {"form": form, "client": client, "look_alikes": look_alikes(client)}
    return render(request, "keeping/merge_choose.html", shown | SECTION)


@permit("clients.merge")
@look_or_send
def merge(request: HttpRequest, client_id: UUID, other_id: UUID) -> HttpResponse:
    kept, other = _client(request, client_id), _client(request, other_id)
    preview = merge_preview(kept=kept, other=other)
    back = reverse("client", args=[client_id])
    form = MergeForm(request.POST or None, differences=preview.differences, back=back)
    if form.is_valid():
        with form.catching(RuleBroken):
            merge_clients(kept=kept, other=other, taking=form.taking(), by=request.user)
            messages.success(
                request,
                f"Merged. Record {other.record_number} leads here now, by number, name and link.",
            )
            return redirect("client", client_id)
    if request.method == "GET":
        for person in (kept, other):
            audit.record(request.user, "client.compared", client=person, subject=person)
    return render(request, "keeping/merge.html", {"form": form, "preview": preview} | SECTION)


# Export


@permit("clients.export")
@require_safe
def export(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = _client(request, client_id)
    return render(request, "keeping/export.html", {"client": client} | SECTION)


@permit("clients.export")
@require_POST
def export_file(request: HttpRequest, client_id: UUID) -> FileResponse:
    client = _client(request, client_id)
    packed = export_client(client=client, by=request.user)
    return FileResponse(packed, as_attachment=True, filename=f"record-{client.record_number}.zip")


# Erasure


@permit("erasures.see")
@require_safe
def erasures_asked(request: HttpRequest) -> HttpResponse:
    return render(request, "keeping/erasures.html", {"erasures": erasures(request.user)} | SECTION)


@permit("erasures.ask")
@look_or_send
def erase(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = _client(request, client_id)
    form = ErasureForm(request.POST or None, client=client)
    if form.is_valid():
        with form.catching(RuleBroken):
            ask_erasure(
                client=client,
                ground=ErasureGround(form.cleaned_data["ground"]),
                reason=form.cleaned_data["reason"],
                by=request.user,
            )
            messages.success(request, "Asked. Nothing is erased until another person confirms.")
            return redirect("erasures")
    shown = {"form": form, "client": client, "kept_until": retention.kept_until(client)}
    return render(request, "keeping/erase.html", shown | SECTION)


@permit("erasures.confirm")
@look_or_send
def confirm(request: HttpRequest, erasure_id: int) -> HttpResponse:
    erasure = get_object_or_404(erasures(request.user), pk=erasure_id)
    form = ConfirmErasureForm(request.POST or None, record_number=erasure.record_number)
    if form.is_valid():
        with form.catching(RuleBroken):
            confirm_erasure(erasure=erasure, by=request.user)
            messages.success(request, f"Record {erasure.record_number} is erased.")
            return redirect("erasures")
    shown = {"form": form, "erasure": erasure, "kept_until": retention.kept_until(erasure.client)}
    return render(request, "keeping/erase_confirm.html", shown | SECTION)


@permit("erasures.confirm")
@require_POST
def withdraw(request: HttpRequest, erasure_id: int) -> HttpResponse:
    erasure = get_object_or_404(erasures(request.user), pk=erasure_id)
    try:
        withdraw_erasure(erasure=erasure, by=request.user)
    except RuleBroken as error:
        messages.error(request, ErasureForm.sentence(error))
    else:
        messages.success(request, "Withdrawn. The record stays as it is.")
    return redirect("erasures")

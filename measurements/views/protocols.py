"""Protocols: where the tape goes."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from measurements.errors import ProtocolError, ProtocolRetired
from measurements.forms.protocols import ProtocolForm, values_of
from measurements.selectors.protocols import is_used, protocol_list, protocols_with_stations
from measurements.sentences import sentence
from measurements.services.protocols import (
    add_protocol,
    change_protocol,
    retire_protocol,
    supersede_protocol,
)


@permit("protocols.see")
@require_safe
def protocols(request: HttpRequest) -> HttpResponse:
    listed = list(protocol_list())
    shown = {
        "in_use": [each for each in listed if each.retired_at is None],
        "retired": [each for each in listed if each.retired_at is not None],
        "section": "protocols",
    }
    return render(request, "measurements/protocols.html", shown)


@permit("protocols.see")
@require_safe
def protocol(request: HttpRequest, protocol_id: UUID) -> HttpResponse:
    found = get_object_or_404(protocols_with_stations(), pk=protocol_id)
    shown = {"protocol": found, "is_used": is_used(found), "section": "protocols"}
    return render(request, "measurements/protocol.html", shown)


@permit("protocols.edit")
@look_or_send
def new_protocol(request: HttpRequest) -> HttpResponse:
    form = ProtocolForm(request.POST or None, back=reverse("protocols"))
    if form.is_valid():
        with form.catching(ProtocolError):
            added = add_protocol(plan=form.plan(), by=request.user)
            messages.success(request, f"{added} is in use.")
            return redirect("protocol", added.pk)
    shown = {"form": form, "section": "protocols"}
    return render(request, "measurements/protocol_form.html", shown)


@permit("protocols.edit")
@look_or_send
def edit_protocol(request: HttpRequest, protocol_id: UUID) -> HttpResponse:
    """Change an unused protocol; a used one is superseded by what is typed."""
    found = get_object_or_404(protocols_with_stations(), pk=protocol_id)
    if found.retired_at:
        messages.error(request, sentence(ProtocolRetired(found.name)))
        return redirect("protocol", found.pk)
    used = is_used(found)
    form = ProtocolForm(
        request.POST or None,
        initial=values_of(found),
        save="Supersede: use this version from now on" if used else "Save protocol",
        back=reverse("protocol", args=[found.pk]),
    )
    if form.is_valid():
        with form.catching(ProtocolError):
            save = supersede_protocol if used else change_protocol
            kept = save(protocol=found, plan=form.plan(), by=request.user)
            messages.success(request, f"{kept} is in use as you see it here.")
            return redirect("protocol", kept.pk)
    shown = {"form": form, "protocol": found, "is_used": used, "section": "protocols"}
    return render(request, "measurements/protocol_form.html", shown)


@permit("protocols.edit")
@require_POST
def retire(request: HttpRequest, protocol_id: UUID) -> HttpResponse:
    found = get_object_or_404(protocols_with_stations(), pk=protocol_id)
    try:
        retire_protocol(protocol=found, by=request.user)
    except RuleBroken as error:
        messages.error(request, sentence(error))
    else:
        messages.success(request, f"{found} is no longer offered. Its sessions keep it.")
    return redirect("protocol", found.pk)

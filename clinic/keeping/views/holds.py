"""One client's record held against erasure."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from clinic.accounts.permits import permit
from clinic.clients.selectors import clients_for
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.keeping.belongings import family
from clinic.keeping.forms import HoldForm, LiftForm
from clinic.keeping.selectors.retention import holds, holds_of
from clinic.keeping.services.holding import hold_record, lift_hold

SECTION = {"section": "clients"}


@permit("keeping.manage")
@look_or_send
def hold(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    form = HoldForm(request.POST or None, client=client)
    if form.is_valid():
        with form.catching(RuleBroken):
            hold_record(client=client, reason=form.cleaned_data["reason"], by=request.user)
            messages.success(request, "Held. Nobody can erase this record until it is lifted.")
            return redirect("client-hold", client_id)
    shown = {"form": form, "client": client, "holds": holds_of(family(client))}
    return render(request, "keeping/hold.html", shown | SECTION)


@permit("keeping.manage")
@look_or_send
def lift(request: HttpRequest, hold_id: int) -> HttpResponse:
    held = get_object_or_404(holds(), pk=hold_id)
    form = LiftForm(request.POST or None, client=held.client)
    if form.is_valid():
        with form.catching(RuleBroken):
            lift_hold(hold=held, because=form.cleaned_data["because"], by=request.user)
            messages.success(request, "Lifted. The clinic's periods hold for this record again.")
            return redirect("client-hold", held.client_id)
    return render(request, "keeping/hold_lift.html", {"form": form, "hold": held} | SECTION)

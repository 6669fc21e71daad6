"""The recall list, putting off, and the months between re-measurements."""

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.clients.selectors import clients_for, episodes_for, therapists
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.scheduling.forms.desk import RecallFilterForm, ScheduleForm, SnoozeForm
from clinic.scheduling.selectors.recalls import kinds_for_recalls, months_kept, recall_list
from clinic.scheduling.services import recalls as services
from clinic.scheduling.words import RecallReason

SECTION = {"section": "day-sheet"}


@permit("schedule.see")
@require_safe
def recalls(request: HttpRequest) -> HttpResponse:
    form = RecallFilterForm(request.GET, therapists=therapists())
    wanted = form.wanted(request.GET.get("page", "1"))
    found = recall_list(request.user, wanted, today=timezone.localdate())
    kept = request.GET.copy()
    kept.pop("page", None)
    shown = {
        "form": form,
        "wanted": wanted,
        "recalls": found,
        "kinds": kinds_for_recalls(),
        "query": kept.urlencode(),
    }
    audit.record(request.user, "recalls.seen")
    return render(request, "scheduling/recalls.html", shown | SECTION)


@permit("schedule.book")
@look_or_send
def snooze(request: HttpRequest, client_id: UUID, reason: str) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    recall = _reason(reason)
    form = SnoozeForm(request.POST or None, today=timezone.localdate(), back=reverse("recalls"))
    if form.is_valid():
        with form.catching(RuleBroken):
            services.snooze_recall(
                client=client, recall=recall, by=request.user, **form.cleaned_data
            )
            messages.success(request, f"Put off: {client}, {recall.label}.")
            return redirect("recalls")
    shown = {"form": form, "client": client, "recall": recall}
    return render(request, "scheduling/recalls_snooze.html", shown | SECTION)


@permit("schedule.book")
@require_POST
def unsnooze(request: HttpRequest, client_id: UUID, reason: str) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    recall = _reason(reason)
    services.end_snooze(client=client, recall=recall, by=request.user)
    messages.success(request, f"Back on the list: {client}, {recall.label}.")
    return redirect("recalls")


@permit("episodes.edit")
@look_or_send
def schedule(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = get_object_or_404(episodes_for(request.user), pk=episode_id)
    form = ScheduleForm(
        request.POST or None,
        initial={"every_months": months_kept(episode)},
        back=reverse("client", args=[episode.client_id]),
    )
    if form.is_valid():
        services.set_recall_schedule(episode=episode, by=request.user, **form.cleaned_data)
        messages.success(request, "The months between re-measurements are kept.")
        return redirect("client", episode.client_id)
    shown = {"form": form, "episode": episode, "section": "clients"}
    return render(request, "scheduling/recalls_schedule.html", shown)


def _reason(reason: str) -> RecallReason:
    try:
        return RecallReason(reason)
    except ValueError as error:
        raise Http404 from error

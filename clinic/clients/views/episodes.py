"""Pages that open and edit an episode of care and change its phase."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.permits import permit
from clinic.clients import selectors, services
from clinic.clients.forms.episodes import (
    EpisodeForm,
    FirstPhaseForm,
    PhaseForm,
    RegionFormSet,
    RegionRows,
)
from clinic.clients.models import Client, Episode
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.common.vocabulary import Phase

SECTION = {"section": "clients"}
ROWS = "regions"


@permit("episodes.edit")
@look_or_send
def open_episode(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = get_object_or_404(selectors.clients_for(request.user), pk=client_id)
    form, rows = _episode_form(request, _new_episode(client, request)), _region_rows(request)
    first = FirstPhaseForm(request.POST or None, prefix="first")
    if all([form.is_valid(), rows.is_valid(), first.is_valid()]):
        with form.catching(RuleBroken):
            services.open_episode(
                episode=form.instance,
                regions=rows.regions(),
                phase=Phase(first.cleaned_data["phase"]),
                reason=first.cleaned_data["reason"],
                by=request.user,
            )
            messages.success(request, "The episode is open.")
            return redirect("client", client_id)
    context = {"client": client, "form": form, "rows": rows, "first_phase": first}
    return render(request, "clients/episode_form.html", context | SECTION)


@permit("episodes.edit")
@look_or_send
def edit_episode(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = get_object_or_404(selectors.episodes_for(request.user), pk=episode_id)
    form, rows = _episode_form(request, episode), _region_rows(request, episode)
    if all([form.is_valid(), rows.is_valid()]):
        with form.catching(RuleBroken):
            services.edit_episode(
                episode=episode,
                regions=rows.regions(),
                before=form.said_before(),
                by=request.user,
            )
            messages.success(request, "Saved.")
            return redirect("client", episode.client_id)
    if request.method == "GET":
        services.note_episode_seen(episode=episode, by=request.user)
    context = {"client": episode.client, "form": form, "rows": rows, "episode": episode}
    return render(request, "clients/episode_form.html", context | SECTION)


@permit("episodes.edit")
@look_or_send
def change_phase(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = get_object_or_404(selectors.episodes_for(request.user), pk=episode_id)
    back = reverse("client", args=[episode.client_id])
    today = {"since_on": timezone.localdate()}
    form = PhaseForm(request.POST or None, initial=today, back=back)
    if form.is_valid():
        with form.catching(RuleBroken):
            answers = form.cleaned_data | {"phase": Phase(form.cleaned_data["phase"])}
            services.change_phase(episode=episode, by=request.user, **answers)
            messages.success(request, f"The phase is now {answers['phase'].label}.")
            return redirect("client", episode.client_id)
    if request.method == "GET":
        services.note_episode_seen(episode=episode, by=request.user)
    history = selectors.phase_history(episode)
    context = {"client": episode.client, "episode": episode, "form": form, "history": history}
    return render(request, "clients/phase_form.html", context | SECTION)


def _new_episode(client: Client, request: HttpRequest) -> Episode:
    """Today, by the person at the screen, from the client's referrer, until told otherwise."""
    return Episode(
        client=client,
        opened_on=timezone.localdate(),
        therapist=request.user,
        referrer=client.referrer,
    )


def _episode_form(request: HttpRequest, episode: Episode) -> EpisodeForm:
    return EpisodeForm(
        request.POST or None,
        instance=episode,
        therapists=selectors.therapists(chosen_id=episode.therapist_id),
        referrers=selectors.referrers_to_choose(chosen_id=episode.referrer_id),
    )


def _region_rows(request: HttpRequest, episode: Episode | None = None) -> RegionRows:
    """The rows as typed, or as stored with spare ones below."""
    if request.method == "POST":
        return RegionFormSet(request.POST, prefix=ROWS)
    stored = list(episode.regions.values("region", "side", "involvement")) if episode else []
    return RegionFormSet(prefix=ROWS, initial=stored)

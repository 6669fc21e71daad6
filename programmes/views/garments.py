"""Pages of garments: the list, one garment, its fit, its end."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from programmes.compression.classes import BY_KEY, same_name_elsewhere
from programmes.errors import GarmentEnded
from programmes.forms.garments import EndForm, FitCheckForm, GarmentForm
from programmes.models import Garment
from programmes.selectors.garments import (
    fit_checks_of,
    garments_for,
    garments_of,
    usual_place,
    wear_text,
)
from programmes.sentences import sentence
from programmes.services import garments as keeping
from programmes.views.pieces import SECTION, found_episode


@permit("garments.see")
@require_safe
def garments(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = found_episode(request, episode_id)
    keeping.note_garments_seen(episode=episode, by=request.user)
    listed = garments_of(episode)
    context = {
        "episode": episode,
        "awaited": [each for each in listed if each.is_awaited],
        "worn": [each for each in listed if each.is_worn],
        "ended": [each for each in listed if each.ended_on],
        "wear": wear_text(episode),
        "today": timezone.localdate(),
    }
    return render(request, "programmes/garments.html", context | SECTION)


@permit("garments.edit")
@look_or_send
def new_garment(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = found_episode(request, episode_id)
    back = reverse("garments", args=[episode.pk])
    begun = Garment(episode=episode)
    place = usual_place(episode)
    form = GarmentForm(request.POST or None, instance=begun, initial=place, back=back)
    if form.is_valid():
        with form.catching(RuleBroken):
            keeping.record_garment(garment=form.garment(), by=request.user)
            messages.success(request, "Garment kept.")
            return redirect("garments", episode.pk)
    context = {"form": form, "episode": episode, "title": "Record a garment"}
    return render(request, "programmes/garment_form.html", context | SECTION)


@permit("garments.see")
@require_safe
def garment(request: HttpRequest, garment_id: UUID) -> HttpResponse:
    found = _found(request, garment_id)
    keeping.note_garments_seen(episode=found.episode, by=request.user)
    chosen = BY_KEY.get(f"{found.class_system}:{found.class_name}")
    context = {
        "garment": found,
        "episode": found.episode,
        "checks": fit_checks_of(found),
        "elsewhere": same_name_elsewhere(chosen) if chosen else (),
        "today": timezone.localdate(),
    }
    return render(request, "programmes/garment.html", context | SECTION)


@permit("garments.edit")
@look_or_send
def edit_garment(request: HttpRequest, garment_id: UUID) -> HttpResponse:
    found = _found(request, garment_id)
    if found.ended_on:
        messages.error(request, sentence(GarmentEnded()))
        return redirect("garment", found.pk)
    form = GarmentForm(
        request.POST or None, instance=found, back=reverse("garment", args=[found.pk])
    )
    if form.is_valid():
        with form.catching(RuleBroken):
            keeping.change_garment(garment=form.garment(), by=request.user)
            messages.success(request, "Garment kept.")
            return redirect("garment", found.pk)
    keeping.note_garments_seen(episode=found.episode, by=request.user)
    context = {"form": form, "episode": found.episode, "title": "Change a garment"}
    return render(request, "programmes/garment_form.html", context | SECTION)


@permit("garments.edit")
@look_or_send
def check_fit(request: HttpRequest, garment_id: UUID) -> HttpResponse:
    found = _found(request, garment_id)
    form = FitCheckForm(request.POST or None, back=reverse("garment", args=[found.pk]))
    if form.is_valid():
        with form.catching(RuleBroken):
            keeping.check_fit(garment=found, seen=form.seen(), by=request.user)
            messages.success(request, "Fit check kept.")
            return redirect("garment", found.pk)
    context = {"form": form, "garment": found, "episode": found.episode, "title": "Check the fit"}
    return render(request, "programmes/garment_form.html", context | SECTION)


@permit("garments.edit")
@look_or_send
def end_garment(request: HttpRequest, garment_id: UUID) -> HttpResponse:
    found = _found(request, garment_id)
    form = EndForm(request.POST or None, back=reverse("garment", args=[found.pk]))
    if form.is_valid():
        with form.catching(RuleBroken):
            keeping.end_garment(garment=found, by=request.user, **form.ending())
            messages.success(request, "Noted. The garment stays in the record.")
            return redirect("garments", found.episode_id)
    context = {
        "form": form,
        "garment": found,
        "episode": found.episode,
        "title": "No longer in use",
    }
    return render(request, "programmes/garment_form.html", context | SECTION)


def _found(request: HttpRequest, garment_id: UUID) -> Garment:
    return get_object_or_404(garments_for(request.user), pk=garment_id)

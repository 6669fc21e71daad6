"""Bandaging with the estimated pressures, and the form a garment is fitted with."""

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.clients.models import Episode
from clinic.clients.selectors import episodes_for
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.common.vocabulary import Limb, Side
from clinic.visits.compression import (
    LimbTaped,
    carried_girths,
    compression_precautions,
    estimate,
    fitting,
    limb_taped,
    usual_limb,
)
from clinic.visits.forms.compression import LimbForm, PlacesForm, chart_asked
from programmes.compression import arterial
from programmes.compression.pressure import CAUTION, LIMITS, Bandage
from programmes.forms.bandages import BandagingForm
from programmes.models import BandageRecord, SizeChart
from programmes.selectors.bandages import bandages_for, bandages_of, last_bandaging, layers_of
from programmes.selectors.size_charts import charts_to_choose, levels_of
from programmes.services import bandages as keeping

SECTION = {"section": "clients"}
WORDS = {"caution": CAUTION, "limits": LIMITS, "arterial_caution": arterial.CAUTION}


@permit("garments.see")
@require_safe
def bandaging(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = _episode(request, episode_id)
    keeping.note_bandages_seen(episode=episode, by=request.user)
    limbs = LimbForm(request.GET, usual=usual_limb(episode))
    context = {"episode": episode, "records": bandages_of(episode), "limbs": limbs}
    return render(request, "visits/compression_list.html", context | SECTION)


@permit("garments.edit")
@look_or_send
def bandage_limb(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """Rows of bandages with the pressure they give; "Estimate" keeps nothing."""
    episode = _episode(request, episode_id)
    limb, side = LimbForm(request.GET, usual=usual_limb(episode)).chosen()
    before = last_bandaging(episode, limb, side)
    form = BandagingForm(request.POST or None, limb=limb, side=side, before=before)
    is_kept = request.method == "POST" and request.POST.get("act") != "estimate"
    if form.is_valid() and is_kept:
        with form.catching(RuleBroken):
            record = keeping.record_bandaging(
                episode=episode, bandaging=form.bandaging(), by=request.user
            )
            messages.success(request, "Bandaging kept.")
            return redirect("bandage", record.pk)
    shown = form.bandages() if form.is_bound else _layers_before(before)
    context = {"form": form, "before": before} | _pressed(episode, (limb, side), shown)
    return render(request, "visits/compression_bandage.html", context | SECTION)


@permit("garments.see")
@require_safe
def bandage(request: HttpRequest, record_id: UUID) -> HttpResponse:
    record = get_object_or_404(bandages_for(request.user), pk=record_id)
    keeping.note_bandages_seen(episode=record.episode, by=request.user)
    on_limb = Limb(record.limb), Side(record.side)
    pressed = _pressed(record.episode, on_limb, layers_of(record), until_on=record.applied_on)
    context = {"record": record} | pressed
    if record.abpi is not None:
        context["advice"] = arterial.advice_sentence(float(record.abpi))
    return render(request, "visits/compression_record.html", context | SECTION)


def _layers_before(before: BandageRecord | None) -> tuple[Bandage, ...]:
    return layers_of(before) if before else ()


def _pressed(
    episode: Episode,
    on_limb: tuple[Limb, Side],
    bandages: Sequence[Bandage],
    *,
    until_on: date | None = None,
) -> dict[str, Any]:
    """What both bandaging pages show of a limb under these bandages."""
    limb, side = on_limb
    found = limb_taped(episode, limb, side, until_on=until_on or timezone.localdate())
    return WORDS | {
        "episode": episode,
        "limb": limb,
        "side": side,
        "taped": found,
        "estimate": estimate(found, bandages),
        "precautions": compression_precautions(episode),
        "today": timezone.localdate(),
    }


@permit("garments.see")
@require_safe
def fit_garment(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """Today's girths on a form that prints, held against the clinic's own size chart."""
    episode = _episode(request, episode_id)
    keeping.note_fitting(episode=episode, by=request.user)
    limbs = LimbForm(request.GET, usual=usual_limb(episode))
    limb, side = limbs.chosen()
    found = limb_taped(episode, limb, side, until_on=timezone.localdate())
    context = {
        "episode": episode,
        "limbs": limbs,
        "limb": limb,
        "side": side,
        "taped": found,
        "precautions": compression_precautions(episode),
        "arterial_caution": arterial.CAUTION,
        "today": timezone.localdate(),
    }
    context |= _held_against_chart(request, found, list(charts_to_choose(limb)))
    return render(request, "visits/compression_fitting.html", context | SECTION)


def _held_against_chart(
    request: HttpRequest, found: LimbTaped | None, charts: list[SizeChart]
) -> dict[str, Any]:
    """The chart asked for, the girths carried or typed, and the size that fits them."""
    chart = chart_asked(request.GET, charts)
    if chart is None:
        return {"charts": charts}
    places = PlacesForm(request.GET, places=levels_of(chart))
    carried = carried_girths(chart, found, places.typed())
    return {
        "charts": charts,
        "chart": chart,
        "fitting": fitting(chart, carried),
        "fields": list(zip(places.shown, carried, strict=True)),
    }


def _episode(request: HttpRequest, episode_id: UUID) -> Episode:
    return get_object_or_404(episodes_for(request.user), pk=episode_id)

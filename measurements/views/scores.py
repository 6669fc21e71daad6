"""Outcome scores: recording, the live preview, the history, and the panel for other pages."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.clients.models import Episode
from clinic.clients.selectors import episodes_for
from clinic.common.methods import look_or_send
from measurements.forms.scores import InstrumentForm, ScoreForm, StrikeScoreForm
from measurements.limb.instruments import SPECS, Instrument
from measurements.limb.score_errors import ScoreError
from measurements.score_drawing import score_drawing
from measurements.score_report import ScoreSeries, previews
from measurements.selectors.scores import (
    dominant_side,
    latest_scores,
    score_history,
    scores_for,
    standings,
    usual_activities,
)
from measurements.services.scores import record_scores, strike_score


@permit("scores.see")
@require_safe
def scores(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """Every score of an episode by instrument, with its trend."""
    episode = get_object_or_404(episodes_for(request.user), pk=episode_id)
    history = score_history(episode)
    audit.record(request.user, "scores.seen", client=episode.client, subject=episode)
    shown = {
        "episode": episode,
        "client": episode.client,
        "standings": tuple(standings(history)),
        "instruments": _by_instrument(history),
        "section": "clients",
    }
    return render(request, "measurements/scores.html", shown)


@permit("scores.record")
@look_or_send
def record(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """Type the scores of one instrument."""
    episode = get_object_or_404(episodes_for(request.user), pk=episode_id)
    form = _form(request, episode)
    if form and _recorded(request, episode, form):
        messages.success(request, f"Recorded: {form.spec.instrument.label}.")
        another = request.POST.get("then") == "another"
        return redirect("scores-new" if another else "scores", episode.pk)
    return _page(request, episode, form)


@permit("scores.record")
@require_POST
def preview(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """The score that what is typed so far gives; nothing is saved."""
    episode = get_object_or_404(episodes_for(request.user), pk=episode_id)
    form = _form(request, episode)
    if not request.htmx or form is None:
        return _page(request, episode, form)
    return render(request, "measurements/scores_preview.html", _previewed(episode, form))


@permit("scores.record")
@look_or_send
def panel(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """Where the scores stand and the chosen instrument's fields, as a piece of another page."""
    episode = get_object_or_404(episodes_for(request.user), pk=episode_id)
    form = _form(request, episode)
    recorded = form.spec.instrument.label if form and _recorded(request, episode, form) else ""
    if recorded:
        form = None
    shown = {
        "episode": episode,
        "standings": latest_scores(episode),
        "form": form,
        "recorded": recorded,
        "chosen": form.spec.instrument if form else "",
        "instruments": list(Instrument),
    }
    status = 422 if form and form.is_bound else 200
    return render(request, "measurements/scores_panel.html", shown, status=status)


@permit("scores.record")
@look_or_send
def strike(request: HttpRequest, score_id: UUID) -> HttpResponse:
    """Strike a score out; it stays to be read."""
    score = get_object_or_404(scores_for(request.user), pk=score_id)
    form = StrikeScoreForm(request.POST or None)
    if form.is_valid():
        with form.catching(ScoreError):
            strike_score(score=score, reason=form.cleaned_data["reason"], by=request.user)
            messages.success(request, "Struck out; it stays readable and counts nowhere.")
            return redirect("scores", score.episode_id)
    shown = {
        "form": form,
        "score": score,
        "spec": SPECS[Instrument(score.instrument)],
        "section": "clients",
    }
    return render(request, "measurements/scores_strike.html", shown)


def _form(request: HttpRequest, episode: Episode) -> ScoreForm | None:
    """The chosen instrument's form; None until one is chosen."""
    posted = request.POST if request.method == "POST" else None
    chosen = InstrumentForm(posted or request.GET)
    if not chosen.is_valid():
        return None
    spec = SPECS[Instrument(chosen.cleaned_data["instrument"])]
    words = usual_activities(episode) if spec.instrument is Instrument.FUNCTION else ()
    form = ScoreForm(posted, spec=spec, activities=words)
    if on := request.GET.get("on"):
        form.initial["scored_on"] = on
    if not request.htmx:
        form.focus()
    return form


def _recorded(request: HttpRequest, episode: Episode, form: ScoreForm) -> bool:
    """Whether what was typed is kept; if not, the form says why."""
    if not form.is_valid():
        return False
    with form.catching(ScoreError):
        record_scores(episode=episode, taken=form.taken(), by=request.user)
    return not form.errors


def _page(request: HttpRequest, episode: Episode, form: ScoreForm | None) -> HttpResponse:
    shown = {
        "episode": episode,
        "client": episode.client,
        "form": form,
        "chosen": form.spec.instrument if form else "",
        "instruments": list(Instrument),
        "section": "clients",
        **(_previewed(episode, form) if form else {}),
    }
    fields_only = request.htmx and request.method == "GET"
    template = "scores_sheet" if fields_only else "scores_form"
    return render(request, f"measurements/{template}.html", shown)


def _previewed(episode: Episode, form: ScoreForm) -> dict[str, object]:
    """The scores that a valid form gives, and what is still wrong with another."""
    is_valid = form.is_bound and form.is_valid()
    found = (
        previews(form.taken(), score_history(episode), dominant=dominant_side(episode))
        if is_valid
        else ()
    )
    return {"form": form, "episode": episode, "previews": found}


def _by_instrument(history: tuple[ScoreSeries, ...]) -> list[dict[str, object]]:
    """The series of each instrument with their drawings, in the registry's order."""
    used = dict.fromkeys(each.spec.instrument for each in history)
    return [
        {
            "spec": SPECS[instrument],
            "series": [each for each in history if each.spec.instrument is instrument],
            "drawings": [
                (each, drawing)
                for each in history
                if each.spec.instrument is instrument and (drawing := score_drawing(each))
            ],
        }
        for instrument in used
    ]

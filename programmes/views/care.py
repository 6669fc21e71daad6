"""Pages about precautions asked at a visit, adherence, and the clinic's exercises."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.clients.selectors import episodes_for, open_precautions
from clinic.clients.services import note_client_opened, note_episode_seen
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.common.vocabulary import Precaution
from programmes.body.steps import steps_of
from programmes.forms.care import AdherenceForm, CountsForm, ExerciseForm, ReviewForm
from programmes.models import ClinicExercise
from programmes.selectors import programmes as reads
from programmes.selectors.adherence import adherence_of
from programmes.selectors.drafts import clinic_dose, last_review
from programmes.selectors.flags import withdrawal_flags
from programmes.services import care
from programmes.views.pieces import SECTION, found_client, found_episode


@permit("precautions.edit")
@look_or_send
def ask_precautions(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = found_client(request, client_id)
    standing = list(open_precautions(client))
    asked = [Precaution(found.precaution) for found in standing]
    form = ReviewForm(request.POST or None, standing=asked)
    if form.is_valid():
        said = form.cleaned_data
        answer = care.Asked(asked_on=said["asked_on"], yes=form.found(), note=said["note"])
        with form.catching(RuleBroken):
            care.review_precautions(client=client, asked=answer, by=request.user)
            episodes = episodes_for(request.user).filter(client=client)
            if withdrawal_flags(episodes):
                messages.warning(request, "A home programme was given before this: look at it now.")
            messages.success(request, "Precautions asked and kept.")
            return redirect("client", client_id)
    note_client_opened(client=client, by=request.user)
    context = {"client": client, "form": form, "standing": standing}
    context["review"] = last_review(client)
    return render(request, "programmes/ask_precautions.html", context | SECTION)


@permit("adherence.record")
@look_or_send
def adherence(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = found_episode(request, episode_id)
    held = reads.in_hand(episode)
    places = [step.place for step in steps_of(held.steps)] if held else []
    form = AdherenceForm(request.POST or None, places=places)
    if form.is_valid():
        said = form.cleaned_data
        told = care.Told(said["recorded_on"], said["days_done"], form.hard_steps(), said["note"])
        with form.catching(RuleBroken):
            care.record_adherence(episode=episode, told=told, by=request.user)
            messages.success(request, "Kept.")
            return redirect("programmes", episode_id)
    note_episode_seen(episode=episode, by=request.user)
    context = {"episode": episode, "form": form, "held": held, "adherence": adherence_of(episode)}
    return render(request, "programmes/adherence.html", context | SECTION)


@permit("exercises.see")
@require_safe
def exercises(request: HttpRequest) -> HttpResponse:
    return render(request, "programmes/exercises.html", {"exercises": reads.exercises()})


@permit("exercises.edit")
@look_or_send
def exercise(request: HttpRequest, exercise_id: int | None = None) -> HttpResponse:
    kept = ClinicExercise()
    if exercise_id is not None:
        kept = get_object_or_404(reads.exercises(), pk=exercise_id)
    form = ExerciseForm(request.POST or None, instance=kept, back=reverse("exercises"))
    if form.is_valid():
        with form.catching(RuleBroken):
            care.keep_exercise(exercise=form.instance, by=request.user)
            messages.success(request, "Kept. Sheets already given stay as they are.")
            return redirect("exercises")
    return render(request, "programmes/exercise_form.html", {"form": form, "exercise": kept})


@permit("exercises.edit")
def clinic_counts(request: HttpRequest) -> HttpResponse:
    form = CountsForm(request.POST or None, dose=clinic_dose(), back=reverse("exercises"))
    if form.is_valid():
        care.keep_dose(counts=form.cleaned_data, by=request.user)
        messages.success(request, "Kept. New programmes begin with these counts.")
        return redirect("exercises")
    return render(request, "programmes/counts.html", {"form": form})

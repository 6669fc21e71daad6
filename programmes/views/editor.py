"""The draft of a programme: begin, edit under the validator's eyes, discard."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from clinic.accounts.permits import permit
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from programmes.body.steps import steps_of
from programmes.edits import Edit, Steps
from programmes.errors import DraftChanged, DraftExists
from programmes.forms.editor import Editor, RevisionForm
from programmes.forms.ground import GroundForm
from programmes.models import Programme
from programmes.selectors.drafts import Desk, desk_of, last_review
from programmes.selectors.programmes import exercises_to_choose, in_hand
from programmes.sentences import sentence
from programmes.services import drafts, issue
from programmes.views.given import given
from programmes.views.pieces import SECTION, found_episode, found_programme


@permit("programmes.write")
@require_POST
def begin(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = found_episode(request, episode_id)
    try:
        draft = drafts.begin_programme(episode=episode, by=request.user)
    except DraftExists as error:
        draft = error.draft
    except RuleBroken as error:
        messages.error(request, sentence(error))
        return redirect("programmes", episode_id)
    return redirect("programme", draft.pk)


@permit("programmes.see")
@look_or_send
def programme(request: HttpRequest, programme_id: UUID) -> HttpResponse:
    found = found_programme(request, programme_id)
    if found.is_issued:
        return given(request, found)
    if request.method != "POST":
        issue.note_look(programme=found, verb="programme.seen", by=request.user)
        return _page(request, found)
    special = {"undo": drafts.undo, "plan": drafts.plan_again}.get(request.POST.get("do", ""))
    return _special(request, found, special) if special else _edited(request, found)


def _special(request: HttpRequest, found: Programme, act: Any) -> HttpResponse:
    """Undo, or plan again: nothing typed is needed for it."""
    form = RevisionForm(request.POST)
    if not form.is_valid():
        return _answer(request, found, status=422)
    try:
        kept = act(programme=found, revision=form.cleaned_data["revision"], by=request.user)
    except RuleBroken as error:
        return _answer(request, _fresh(request, found), problem=sentence(error), status=422)
    return _answer(request, kept) if request.htmx else redirect("programme", found.pk)


def _edited(request: HttpRequest, found: Programme) -> HttpResponse:
    editor = _editor(found, posted=request.POST)
    if not editor.is_valid():
        return _answer(request, found, editor=editor, status=422)
    edit = editor.edit()
    try:
        kept = drafts.edit_draft(
            programme=found,
            edit=edit,
            revision=editor.revision,
            by=request.user,
            is_forced="force" in request.POST,
        )
    except DraftChanged as error:
        return _conflict(request, found, editor, error)
    except RuleBroken as error:
        return _answer(request, _fresh(request, found), problem=sentence(error), status=422)
    return _kept(request, kept, edit)


def _kept(request: HttpRequest, kept: Programme, edit: Edit) -> HttpResponse:
    if request.POST.get("do") == "issue":
        target = reverse("programme-issue", args=[kept.pk])
        if request.htmx:
            return HttpResponse(headers={"HX-Redirect": target})
        return redirect(target)
    if not request.htmx:
        step = f"#step-{edit.end + 1}" if edit.act else ""
        return redirect(reverse("programme", args=[kept.pk]) + step)
    if edit.act is None and "force" not in request.POST:
        return _only_sentences(request, kept)
    return _answer(request, kept, focus=edit.end)


def _conflict(
    request: HttpRequest, found: Programme, editor: Editor, error: DraftChanged
) -> HttpResponse:
    """This person's version on screen, unsaved, and the choice between both."""
    try:
        steps = drafts.steps_to_show(found, editor.edit(), editor.revision)
    except RuleBroken:  # too much has changed to show it: theirs is shown, with the message
        return _answer(request, _fresh(request, found), problem=sentence(error), status=422)
    return _answer(request, found, mine=(steps, editor), problem=sentence(error), status=422)


def _answer(
    request: HttpRequest, found: Programme, *, status: int = 200, **shown: Any
) -> HttpResponse:
    """The list of steps to a script, the whole page to a browser without one."""
    if not request.htmx:
        return _page(request, found, status=status, **shown)
    return render(request, "programmes/_draft_answer.html", _shown(found, **shown), status=status)


def _only_sentences(request: HttpRequest, found: Programme) -> HttpResponse:
    """What the validator says of each step, without the fields that are being typed in."""
    response = render(request, "programmes/_draft_sentences.html", _shown(found))
    response["HX-Reswap"] = "none"
    return response


def _page(
    request: HttpRequest, found: Programme, *, status: int = 200, **shown: Any
) -> HttpResponse:
    context = _shown(found, **shown)
    context["held"] = in_hand(found.episode)
    context["review"] = last_review(found.episode.client)
    if "ground_form" not in context:
        context["ground_form"] = GroundForm(ground=context["desk"].ground, revision=found.revision)
    return render(request, "programmes/editor.html", context, status=status)


def _shown(
    found: Programme,
    *,
    editor: Editor | None = None,
    mine: tuple[Steps, Editor] | None = None,
    **more: Any,
) -> dict[str, Any]:
    desk: Desk = desk_of(found, mine[0] if mine else None)
    if mine is not None:
        editor, more["revision"] = _editor(found, mine[0]), mine[1].revision
    editor = editor or _editor(found)
    return {
        "programme": found,
        "episode": found.episode,
        "desk": desk,
        "editor": editor,
        "lines": list(zip(desk.lines, editor.steps, strict=False)),
        "last": len(desk.lines) - 1,
        "revision": found.revision,
        "is_conflict": mine is not None,
        "why_none": sentence(desk.why_none) if desk.why_none else "",
        **SECTION,
        **more,
    }


def _editor(found: Programme, steps: Steps | None = None, posted: Any = None) -> Editor:
    steps = steps_of(found.steps) if steps is None else steps
    return Editor(found, steps, exercises_to_choose(found.exercise_ids), posted)


def _fresh(request: HttpRequest, found: Programme) -> Programme:
    return found_programme(request, found.pk)


@permit("programmes.write")
@require_POST
def ground(request: HttpRequest, programme_id: UUID) -> HttpResponse:
    found = found_programme(request, programme_id)
    desk = desk_of(found)
    form = GroundForm(request.POST, ground=desk.ground, revision=found.revision)
    if form.is_valid():
        with form.catching(RuleBroken):
            drafts.choose(
                programme=found,
                choices=form.choices(),
                revision=form.cleaned_data["revision"],
                by=request.user,
            )
            messages.success(request, "Kept. The steps below rest on it.")
            return redirect("programme", found.pk)
    return _page(request, _fresh(request, found), ground_form=form, status=422)


@permit("programmes.write")
@look_or_send
def discard(request: HttpRequest, programme_id: UUID) -> HttpResponse:
    found = found_programme(request, programme_id)
    if request.method == "POST":
        try:
            drafts.discard_draft(programme=found, by=request.user)
            messages.success(request, "The draft is gone. The client was given nothing of it.")
        except RuleBroken as error:
            messages.error(request, sentence(error))
        return redirect("programmes", found.episode_id)
    context = {"programme": found, "episode": found.episode}
    return render(request, "programmes/discard.html", context | SECTION)

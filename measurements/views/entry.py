"""The entry screen: typing girths, volumes while typing, drafts; striking out and baseline."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST
from django_htmx.http import trigger_client_event

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.clients.models import Episode
from clinic.clients.selectors import episodes_for
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from measurements.errors import SameDaySession, SessionStruck
from measurements.forms.entry import (
    Choice,
    EntryForm,
    SameDayForm,
    StrikeForm,
    is_worth_keeping,
    typed_from,
)
from measurements.models import GirthSession
from measurements.selectors.entry import (
    draft_of,
    limbs_to_tape,
    sessions_for,
    sessions_of_day,
    with_regions,
)
from measurements.sentences import sentence
from measurements.services import drafts
from measurements.services.record import record_session, set_baseline, strike_session
from measurements.taped import SameDay
from measurements.views.entry_desk import (
    EntryDesk,
    corrected_session,
    desk_for,
    limb_asked,
    side_by_side,
    typed_of,
)

# What the page around the form listens for.
RECORDED_EVENT = "girths-recorded"


@permit("girths.enter")
@look_or_send
def enter_girths(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """Type one session of one kind of limb, both sides side by side."""
    episode = get_object_or_404(with_regions(episodes_for(request.user)), pk=episode_id)
    limb = limb_asked(request, episode)
    if request.method == "POST":
        desk = desk_for(request, episode, limb, typed_from(request.POST))
        is_recording = request.POST.get("do") == "record"
        if desk and is_recording:
            return _record(request, desk)
        return _page(request, episode, desk)
    draft = draft_of(episode, limb, request.user)
    corrects = corrected_session(request.user, episode, request.GET.get("corrects", ""))
    typed = draft.typed if draft else typed_of(corrects) if corrects else {}
    if draft and corrects and typed.get("corrects") != str(corrects.pk):
        messages.warning(
            request, "Record or discard what you typed earlier first; then correct that session."
        )
    desk = desk_for(request, episode, limb, typed)
    audit.record(request.user, "girths.seen", client=episode.client, subject=episode)
    return _page(request, episode, desk, draft=draft)


def _page(
    request: HttpRequest,
    episode: Episode,
    desk: EntryDesk | None,
    *,
    form: EntryForm | None = None,
    draft: object = None,
) -> HttpResponse:
    shown = {
        "episode": episode,
        "limb": limb_asked(request, episode),
        "limbs": limbs_to_tape(episode),
        "desk": desk,
        "form": form or (desk.form(bound=False) if desk else None),
        "draft": draft,
        "section": "clients",
    }
    shown["within"] = _is_within(request)
    template = "enter_panel.html" if _is_within(request) else "enter.html"
    return render(request, f"measurements/{template}", shown, status=422 if form else 200)


def _is_within(request: HttpRequest) -> bool:
    """Whether the form is a part of another page, which learns of a recording by an event."""
    return bool(request.htmx) and "within" in request.GET


def _record(request: HttpRequest, desk: EntryDesk) -> HttpResponse:
    form = desk.form(bound=True)
    choice = SameDayForm(request.POST) if "choice" in request.POST else None
    if not form.is_valid():
        return _page(request, desk.episode, desk, form=form)
    if choice and not choice.is_valid():
        return _same_day(request, desk, choice)
    if choice and choice.cleaned_data["choice"] == Choice.KEEP:
        return _keep_theirs(request, desk)
    with form.catching(RuleBroken):
        try:
            session = record_session(
                episode=desk.episode,
                taped=form.taped(),
                by=request.user,
                same_day=_same_day_of(desk, choice),
            )
        except SameDaySession:
            return _same_day(request, desk, None)
        return _recorded(request, session)
    return _page(request, desk.episode, desk, form=form)


def _recorded(request: HttpRequest, session: GirthSession) -> HttpResponse:
    if _is_within(request):
        shown = {"session": session, "said": _recorded_sentence(session)}
        answer = render(request, "measurements/enter_recorded.html", shown)
        return trigger_client_event(answer, RECORDED_EVENT)
    messages.success(request, _recorded_sentence(session))
    return redirect("girths-session", session.pk)


def _same_day_of(desk: EntryDesk, choice: SameDayForm | None) -> SameDay:
    decided = choice.same_day() if choice else SameDay()
    if desk.corrects and decided.replaces is None:
        return SameDay(decided.seen, desk.corrects.pk)
    return decided


def _recorded_sentence(session: GirthSession) -> str:
    if session.is_baseline:
        return f"Recorded. This is the {session.get_limb_display().lower()} baseline now."
    return "Recorded."


def _same_day(request: HttpRequest, desk: EntryDesk, choice: SameDayForm | None) -> HttpResponse:
    """Their session beside one's own, and three ways on; nothing is saved or lost."""
    sessions = sessions_of_day(desk.episode, desk.limb, desk.taken_on)
    shown = {
        "episode": desk.episode,
        "desk": desk,
        "sessions": sessions,
        "rows": side_by_side(desk, sessions),
        "choice": choice,
        "typed": desk.typed,
        "within": _is_within(request),
        "section": "clients",
    }
    if _is_within(request):  # a script shows what is asked only where it is no refusal
        return render(request, "measurements/_same_day.html", shown, status=422)
    return render(request, "measurements/enter_same_day.html", shown, status=409)


def _keep_theirs(request: HttpRequest, desk: EntryDesk) -> HttpResponse:
    drafts.discard_draft(episode=desk.episode, limb=desk.limb, by=request.user)
    theirs = sessions_of_day(desk.episode, desk.limb, desk.taken_on)
    if theirs and _is_within(request):
        return _recorded(request, theirs[-1])
    messages.success(request, "Theirs stands; what you typed was dropped.")
    if not theirs:
        return redirect("girths-course", desk.episode.pk)
    return redirect("girths-session", theirs[-1].pk)


@permit("girths.enter")
@require_POST
def live_volumes(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """Volumes, difference, verdict and questions of what is typed so far; nothing is saved."""
    episode = get_object_or_404(episodes_for(request.user), pk=episode_id)
    limb = limb_asked(request, episode)
    desk = desk_for(request, episode, limb, typed_from(request.POST))
    return render(request, "measurements/_live_answer.html", {"desk": desk, "is_live": True})


@permit("girths.enter")
@require_POST
def keep_draft(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """Keep what is typed; an emptied page keeps nothing."""
    episode = get_object_or_404(episodes_for(request.user), pk=episode_id)
    limb = limb_asked(request, episode)
    typed = typed_from(request.POST)
    if is_worth_keeping(typed):
        drafts.keep_draft(episode=episode, limb=limb, typed=typed, by=request.user)
    else:
        drafts.discard_draft(episode=episode, limb=limb, by=request.user)
    if request.htmx:
        shown = {"kept_at": timezone.now() if is_worth_keeping(typed) else None}
        return render(request, "measurements/_live_kept.html", shown)
    messages.success(request, "Kept as a draft. Nothing is recorded yet.")
    return redirect(_entry_address(episode, limb))


@permit("girths.enter")
@require_POST
def discard_draft(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = get_object_or_404(episodes_for(request.user), pk=episode_id)
    limb = limb_asked(request, episode)
    if drafts.discard_draft(episode=episode, limb=limb, by=request.user):
        messages.success(request, "The draft is discarded.")
    return redirect(_entry_address(episode, limb))


def _entry_address(episode: Episode, limb: str) -> str:
    return reverse("girths-enter", args=[episode.pk]) + f"?limb={limb}"


@permit("girths.strike")
@look_or_send
def strike(request: HttpRequest, session_id: UUID) -> HttpResponse:
    """Strike a session out with a reason, and perhaps go on to a corrected one."""
    session = get_object_or_404(sessions_for(request.user), pk=session_id)
    form = StrikeForm(request.POST or None)
    if session.struck_at:
        messages.error(request, sentence(SessionStruck(session)))
        return redirect("girths-session", session.pk)
    if form.is_valid():
        with form.catching(RuleBroken):
            strike_session(session=session, reason=form.cleaned_data["reason"], by=request.user)
            messages.success(request, "Struck out. It stays readable and counts nowhere.")
            if request.POST.get("then") == "correct":
                address = _entry_address(session.episode, session.limb)
                return redirect(f"{address}&corrects={session.pk}")
            return redirect("girths-session", session.pk)
    shown = {"form": form, "session": session, "section": "clients"}
    return render(request, "measurements/strike.html", shown)


@permit("girths.enter")
@require_POST
def make_baseline(request: HttpRequest, session_id: UUID) -> HttpResponse:
    session = get_object_or_404(sessions_for(request.user), pk=session_id)
    try:
        set_baseline(session=session, by=request.user)
    except SessionStruck as error:
        messages.error(request, sentence(error))
    else:
        messages.success(request, "Later sessions are now compared with this one.")
    return redirect("girths-session", session.pk)

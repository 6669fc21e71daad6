"""Writes about drafts: begin, edit, undo, plan again, discard. Every edit can be undone."""

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils.timezone import localdate

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode
from clinic.clients.selectors import current_phase
from clinic.common.vocabulary import Phase, Region
from programmes import texts
from programmes.body.steps import rows_of, steps_of
from programmes.choices import Choices, as_json, from_json
from programmes.edits import REST, Edit, Steps
from programmes.errors import (
    DraftChanged,
    DraftExists,
    EpisodeClosed,
    NothingToUndo,
    ProgrammeKept,
)
from programmes.models import Programme, StepsBefore, Suits
from programmes.selectors.drafts import clinic_dose, ground_of, plan_or_why
from programmes.selectors.garments import wear_text
from programmes.selectors.programmes import draft_of, exercises_that_suit, last_issued

REMEMBERED = 60
SUITS_OF = {
    Region.ARM: Suits.ARM,
    Region.BREAST: Suits.ARM,
    Region.TRUNK_UPPER: Suits.ARM,
    Region.LEG: Suits.LEG,
    Region.TRUNK_LOWER: Suits.LEG,
    Region.GENITAL: Suits.LEG,
    Region.HEAD_NECK: Suits.HEAD_NECK,
}


@transaction.atomic
def begin_programme(*, episode: Episode, by: User) -> Programme:
    """A draft from the plan, with the usual texts or those of the version before.

    Raises DraftExists, EpisodeClosed. Where no safe route exists the draft has no steps.
    """
    if current_phase(episode).phase == Phase.DISCHARGED:
        raise EpisodeClosed
    if draft := draft_of(episode):
        raise DraftExists(draft)
    before = last_issued(episode)
    draft = _like(before, by, episode) if before else _usual(episode, by)
    draft.episode = episode
    draft.number = (episode.programmes.aggregate(last=Max("number"))["last"] or 0) + 1
    draft.steps = rows_of(_planned(draft))
    try:
        with transaction.atomic():
            draft.save(force_insert=True)
    except IntegrityError:
        if other := draft_of(episode):
            raise DraftExists(other) from None
        raise
    audit.record(by, "programme.begun", client=episode.client, subject=draft)
    return draft


def _usual(episode: Episode, by: User) -> Programme:
    regions = [Region(one.region) for one in episode.regions.all()]
    phase = Phase(current_phase(episode).phase)
    return Programme(
        skin_care=texts.SKIN_CARE,
        wear_schedule=wear_text(episode) or texts.wear_schedule(regions, phase),
        breathing=texts.BREATHING,
        stop_and_call=texts.STOP_AND_CALL,
        exercise_ids=exercises_that_suit({SUITS_OF[region] for region in regions}),
        times_a_day=clinic_dose().times_a_day.default,
        begun_by=by,
        edited_by=by,
    )


def _like(before: Programme, by: User, episode: Episode) -> Programme:
    """As the version before; garments issued since then give the wear in new words."""
    kept = {name: getattr(before, name) for name in (*REST, "choices")}
    if before.issued_at and (wear := wear_text(episode, since_on=localdate(before.issued_at))):
        kept["wear_schedule"] = wear
    return Programme(begun_by=by, edited_by=by, **kept)


def _planned(draft: Programme) -> Steps:
    """Today's plan for the draft; no step where there is no safe route."""
    ground = ground_of(draft.episode, from_json(draft.choices))
    made, _ = plan_or_why(ground, clinic_dose())
    return made.steps if made else ()


@transaction.atomic
def edit_draft(
    *, programme: Programme, edit: Edit, revision: int, by: User, is_forced: bool = False
) -> Programme:
    """Keep one edit made on a revision of the draft.

    Raises DraftChanged when somebody saved in between, unless `is_forced`: then this person's
    version stands and the other's can be brought back by undo. Also ProgrammeKept, NoSuchStep.
    """
    stored = _locked(programme)
    base = _steps_at(stored, revision, is_forced=is_forced)
    after, before = edit.applied(base, clinic_dose()), steps_of(stored.steps)
    rest = {name: edit.rest[name] for name in REST if name in edit.rest}
    if after == before and all(getattr(stored, name) == rest[name] for name in rest):
        return stored
    for name, value in rest.items():
        setattr(stored, name, value)
    _keep(stored, after, is_as_planned=stored.is_as_planned and after == before, by=by)
    return stored


@transaction.atomic
def plan_again(*, programme: Programme, revision: int, by: User) -> Programme:
    """Put today's plan in place of the steps. Raises DraftChanged, ProgrammeKept."""
    stored = _locked(programme)
    _steps_at(stored, revision, is_forced=False)
    _keep(stored, _planned(stored), is_as_planned=True, by=by)
    return stored


@transaction.atomic
def choose(*, programme: Programme, choices: Choices, revision: int, by: User) -> Programme:
    """Keep what the clinician decided about the plan; a plan nobody edited follows at once.

    Raises DraftChanged, ProgrammeKept.
    """
    stored = _locked(programme)
    _steps_at(stored, revision, is_forced=False)
    stored.choices = as_json(choices)
    after = _planned(stored) if stored.is_as_planned else steps_of(stored.steps)
    _keep(stored, after, is_as_planned=stored.is_as_planned, by=by)
    return stored


@transaction.atomic
def undo(*, programme: Programme, revision: int, by: User) -> Programme:
    """Bring back the steps before the last change of them. Raises NothingToUndo, DraftChanged."""
    stored = _locked(programme)
    _steps_at(stored, revision, is_forced=False)
    last = stored.before.first()
    if last is None:
        raise NothingToUndo
    stored.steps, stored.is_as_planned = last.steps, last.is_as_planned
    last.delete()
    _save(stored, by)
    return stored


@transaction.atomic
def discard_draft(*, programme: Programme, by: User) -> None:
    """Remove a draft. Raises ProgrammeKept."""
    stored = _locked(programme)
    audit.record(by, "programme.discarded", client=stored.episode.client, subject=stored)
    stored.delete()


def _locked(programme: Programme) -> Programme:
    rows = Programme.objects.select_for_update(of=("self",))
    stored = rows.select_related("episode__client", "edited_by").get(pk=programme.pk)
    if stored.is_issued:
        raise ProgrammeKept
    return stored


def _steps_at(stored: Programme, revision: int, *, is_forced: bool) -> Steps:
    """The steps that a person had before them at a revision."""
    if stored.revision == revision:
        return steps_of(stored.steps)
    if not is_forced:
        raise DraftChanged(by=stored.edited_by, at=stored.edited_at)
    later = stored.before.filter(revision__gte=revision).order_by("revision").first()
    return steps_of(later.steps if later else stored.steps)


def _keep(stored: Programme, after: Steps, *, is_as_planned: bool, by: User) -> None:
    """Remember the steps before a change, then keep those after it."""
    if steps_of(stored.steps) != after:
        _remember(stored, by)
    stored.steps, stored.is_as_planned = rows_of(after), is_as_planned
    _save(stored, by)


def _remember(stored: Programme, by: User) -> None:
    """One log entry for each person who edits a draft, not one for each of many savings."""
    if not stored.before.filter(edited_by=by).exists():
        audit.record(by, "programme.edited", client=stored.episode.client, subject=stored)
    StepsBefore.objects.create(
        programme=stored,
        revision=stored.revision,
        steps=stored.steps,
        is_as_planned=stored.is_as_planned,
        edited_by=by,
    )
    forgotten = list(stored.before.values_list("pk", flat=True)[REMEMBERED:])
    if forgotten:
        StepsBefore.objects.filter(pk__in=forgotten).delete()


def _save(stored: Programme, by: User) -> None:
    stored.revision += 1
    stored.edited_by = by
    stored.save()


def steps_to_show(programme: Programme, edit: Edit, revision: int) -> Steps:
    """What an edit would make of the steps this person had before them; nothing is kept."""
    return edit.applied(_steps_at(programme, revision, is_forced=True), clinic_dose())

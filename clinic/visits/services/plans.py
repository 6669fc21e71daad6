"""Writes about plans of care: begin, edit, sign, note the certification, end."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode
from clinic.common.print import NotPrinted
from clinic.visits import plan_errors as errors
from clinic.visits.goal_measures import judged_by
from clinic.visits.plan_pdf import check_fits
from clinic.visits.plan_sheet import plan_sheet, with_signature
from clinic.visits.plan_typed import GoalTyped, PlanTyped, check_plan
from clinic.visits.plans import Goal, PlanOfCare
from clinic.visits.seal import seal_of
from clinic.visits.selectors.plan_facts import plan_rules
from clinic.visits.selectors.plan_sheets import digest_of, draft_content
from clinic.visits.selectors.plans import draft_of

PLAIN_FIELDS = ("from_on", "to_on", "visits_a_week", "weeks", "treatment", "outlook")
SIGNING_FIELDS = ["signed_at", "signed_by", "signature", "signed", "seal"]
CERTIFYING_FIELDS = ["certified_by", "certified_on", "certified_noted_by", "certified_noted_at"]


@transaction.atomic
def begin_plan(*, episode: Episode, typed: PlanTyped, by: User) -> PlanOfCare:
    """Keep the draft of an episode's next plan.

    Raises PlanDraftExists and what `plan_typed.check_plan` raises.
    """
    _check(typed, episode)
    if draft := draft_of(episode):
        raise errors.PlanDraftExists(draft)
    numbers = episode.plans.order_by("-number").values_list("number", flat=True)
    plan = PlanOfCare(episode=episode, number=(numbers.first() or 0) + 1, written_by=by)
    _fill(plan, typed)
    _save_new(plan)
    _keep_goals(plan, typed)
    audit.record(by, "plan.begun", client=episode.client, subject=plan)
    return plan


def _save_new(plan: PlanOfCare) -> None:
    """Two people may begin at once: the second is told of the first one's draft."""
    try:
        with transaction.atomic():
            plan.save(force_insert=True)
    except IntegrityError:
        if draft := draft_of(plan.episode):
            raise errors.PlanDraftExists(draft) from None
        raise


@transaction.atomic
def edit_plan(*, plan: PlanOfCare, typed: PlanTyped, seen: str, by: User) -> PlanOfCare:
    """Keep a draft as typed. `seen` is the digest of the draft the person had open.

    Raises PlanKept, PlanChanged and what `plan_typed.check_plan` raises.
    """
    stored = _locked(plan)
    _refuse_signed(stored)
    _check(typed, stored.episode)
    if digest_of(stored) != seen:
        raise errors.PlanChanged
    _fill(stored, typed)
    stored.save(update_fields=PLAIN_FIELDS)
    stored.goals.all().delete()
    _keep_goals(stored, typed)
    audit.record(by, "plan.edited", client=stored.episode.client, subject=stored)
    return stored


@transaction.atomic
def discard_plan(*, plan: PlanOfCare, by: User) -> None:
    """Remove a draft. Raises PlanKept."""
    stored = _locked(plan)
    _refuse_signed(stored)
    audit.record(by, "plan.discarded", client=stored.episode.client, subject=stored)
    stored.delete()


@transaction.atomic
def sign_plan(*, plan: PlanOfCare, seen: str, by: User) -> PlanOfCare:
    """Sign and seal a draft as it was looked at; the plan in force ends the day before it begins.

    Raises PlanKept, PlanChanged, NoGoals, MayNotSignPlan, PlanTooLong and the rules of its days,
    which may have become stricter since it was typed.
    """
    stored = _locked(plan)
    _refuse_signed(stored)
    if by.needs_cosignature:
        raise errors.MayNotSignPlan
    content = draft_content(stored)
    if seal_of(content) != seen:
        raise errors.PlanChanged
    _check(typed_of(stored), stored.episode)
    if not content["goals"]:
        raise errors.NoGoals
    at = timezone.now()
    stored.signed = with_signature(content, signature=by.signature, user_id=by.pk, at=at)
    _refuse_long(stored)
    stored.signed_at, stored.signed_by, stored.signature = at, by, by.signature
    stored.seal = seal_of(stored.signed)
    _end_the_one_in_force(stored, by)
    stored.save(update_fields=SIGNING_FIELDS)
    audit.record(by, "plan.signed", client=stored.episode.client, subject=stored)
    return stored


def _refuse_long(plan: PlanOfCare) -> None:
    """The paper is signed as one page; where no PDF can be made at all, the screen must do."""
    try:
        check_fits(plan_sheet(plan.signed or {}))
    except NotPrinted:
        return


def _end_the_one_in_force(plan: PlanOfCare, by: User) -> None:
    before = plan.episode.plans.filter(signed_at__isnull=False, ended_on=None).first()
    if before is None:
        return
    last_on = max(before.from_on, plan.from_on - timedelta(days=1))
    before.ended_on, before.ended_by = last_on, by
    before.save(update_fields=["ended_on", "ended_by"])
    audit.record(by, "plan.ended", client=plan.episode.client, subject=before)


@dataclass(frozen=True)
class Certified:
    """Name and date as they stand on the returned paper."""

    name: str
    on: date


@transaction.atomic
def certify_plan(*, plan: PlanOfCare, certified: Certified, by: User) -> PlanOfCare:
    """Note that a signed plan came back certified.

    Raises NotSignedYet, AlreadyCertified, PlanDayWrong.
    """
    stored = _locked(plan)
    if stored.signed_at is None:
        raise errors.NotSignedYet
    if stored.certified_on is not None:
        raise errors.AlreadyCertified(by=stored.certified_by, on=stored.certified_on)
    signed_on = timezone.localdate(stored.signed_at)
    if certified.on < signed_on:
        raise errors.PlanDayWrong("certified_on", must="not_before_signing", limit=signed_on)
    _refuse_future("certified_on", certified.on)
    stored.certified_by, stored.certified_on = certified.name, certified.on
    stored.certified_noted_by, stored.certified_noted_at = by, timezone.now()
    stored.save(update_fields=CERTIFYING_FIELDS)
    audit.record(by, "plan.certified", client=stored.episode.client, subject=stored)
    return stored


@transaction.atomic
def end_plan(*, plan: PlanOfCare, on: date, by: User) -> PlanOfCare:
    """End a signed plan without another one, as at discharge; `on` is its last day.

    Raises NotSignedYet, AlreadyEnded, PlanDayWrong.
    """
    stored = _locked(plan)
    if stored.signed_at is None:
        raise errors.NotSignedYet
    if stored.ended_on is not None:
        raise errors.AlreadyEnded(stored.ended_on)
    if on < stored.from_on:
        raise errors.PlanDayWrong("ended_on", must="not_before_start", limit=stored.from_on)
    _refuse_future("ended_on", on)
    stored.ended_on, stored.ended_by = on, by
    stored.save(update_fields=["ended_on", "ended_by"])
    audit.record(by, "plan.ended", client=stored.episode.client, subject=stored)
    return stored


def note_look(*, plan: PlanOfCare, verb: str, by: User) -> None:
    """Keep in the record that a plan was looked at ("plan.seen") or printed ("plan.printed")."""
    audit.record(by, verb, client=plan.episode.client, subject=plan)


def typed_of(plan: PlanOfCare) -> PlanTyped:
    """A kept draft as if it were typed anew."""
    plain = {name: getattr(plan, name) for name in PLAIN_FIELDS}
    return PlanTyped(goals=tuple(map(goal_typed, plan.goals.all())), **plain)


def goal_typed(goal: Goal) -> GoalTyped:
    judged = judged_by(goal.measure, goal.instrument)
    return GoalTyped(goal.text, judged, goal.due_on, goal.baseline, goal.target)


def _locked(plan: PlanOfCare) -> PlanOfCare:
    joined = PlanOfCare.objects.select_related("episode__client", "episode__referrer")
    found: PlanOfCare | None = joined.select_for_update(of=("self",)).filter(pk=plan.pk).first()
    if found is None:
        raise errors.PlanGone
    return found


def _refuse_signed(plan: PlanOfCare) -> None:
    if plan.signed_at is not None:
        raise errors.PlanKept


def _refuse_future(field: str, on: date) -> None:
    today = timezone.localdate()
    if on > today:
        raise errors.PlanDayWrong(field, must="not_after_today", limit=today)


def _check(typed: PlanTyped, episode: Episode) -> None:
    check_plan(typed, opened_on=episode.opened_on, certified_days=plan_rules().certified_days)


def _fill(plan: PlanOfCare, typed: PlanTyped) -> None:
    for name in PLAIN_FIELDS:
        setattr(plan, name, getattr(typed, name))


def _keep_goals(plan: PlanOfCare, typed: PlanTyped) -> None:
    rows = (_goal(plan, place, goal) for place, goal in enumerate(typed.goals))
    Goal.objects.bulk_create(rows)


def _goal(plan: PlanOfCare, place: int, goal: GoalTyped) -> Goal:
    return Goal(
        plan=plan,
        place=place,
        text=goal.text,
        measure=goal.judged.measure,
        instrument=goal.judged.instrument,
        baseline=goal.baseline,
        target=goal.target,
        due_on=goal.due_on,
    )

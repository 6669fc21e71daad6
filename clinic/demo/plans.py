"""Acts about outcome scores, plans of care and their goals."""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import Any

from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode
from clinic.common.vocabulary import Side
from clinic.demo.stage import Act, Stage
from clinic.demo.tapings import Tape
from clinic.visits.goal_measures import Judged, judged_as
from clinic.visits.plan_sheet import with_signature
from clinic.visits.plan_typed import GoalTyped, PlanTyped
from clinic.visits.plans import PlanOfCare
from clinic.visits.seal import seal_of
from clinic.visits.selectors.goal_values import Values, goal_values
from clinic.visits.selectors.plan_sheets import draft_content
from clinic.visits.services.goals import Reviewed, review_goal
from clinic.visits.services.plans import SIGNING_FIELDS, Certified, begin_plan, certify_plan
from clinic.visits.words import GoalStatus
from measurements.limb.instruments import Instrument, Part
from measurements.scored import ScoresTaken, ScoreTaken, Series, kept
from measurements.services.scores import record_scores

# Outcome scores


def acts_of_scores(told: Sequence[dict[str, Any]], episode: Episode, stage: Stage) -> Iterator[Act]:
    """Every score on its day."""
    for each in told:
        series = Series(
            Instrument(each["instrument"]),
            Side(each["side"]) if "side" in each else None,
            Part(each["part"]) if "part" in each else None,
        )
        for day, score in each["scores"].items():
            yield _score_act(ScoreTaken(series, kept(score)), int(day), episode, stage)


def _score_act(score: ScoreTaken, day: int, episode: Episode, stage: Stage) -> Act:
    def play() -> None:
        taken = ScoresTaken(stage.day(day), (score,))
        record_scores(episode=episode, taken=taken, by=episode.therapist)

    return Act(day, 7, play)


# Plans of care


def acts_of_plan(told: dict[str, Any], episode: Episode, stage: Stage, tape: Tape) -> Iterator[Act]:
    """Written and signed on its day, certified and reviewed later."""

    def sign() -> None:
        tape.flush()
        _sign(told, episode, stage)

    yield Act(told["day"], 8, sign)
    if "certified" in told:
        yield _certified_act(told["certified"], episode, stage)
    for review in told.get("reviews", ()):
        yield _review_act(review, episode, stage, tape)


def _sign(told: dict[str, Any], episode: Episode, stage: Stage) -> None:
    by, from_on = episode.therapist, stage.day(told["day"])
    values = goal_values(episode)
    typed = PlanTyped(
        from_on=from_on,
        to_on=from_on + timedelta(days=told["days"] - 1),
        visits_a_week=told["visits_a_week"],
        weeks=told["weeks"],
        treatment=told["treatment"],
        outlook=told["outlook"],
        goals=tuple(_goal(goal, values, from_on=from_on) for goal in told["goals"]),
    )
    _seal(begin_plan(episode=episode, typed=typed, by=by), by)


def _seal(plan: PlanOfCare, by: User) -> None:
    """As `sign_plan`, without laying out the page, which takes longer than all else."""
    at, content = timezone.now(), draft_content(plan)
    plan.signed_at, plan.signed_by, plan.signature = at, by, by.signature
    plan.signed = with_signature(content, signature=by.signature, user_id=by.pk, at=at)
    plan.seal = seal_of(plan.signed)
    plan.save(update_fields=SIGNING_FIELDS)
    audit.record(by, "plan.signed", client=plan.episode.client, subject=plan)


def _goal(told: dict[str, Any], values: Values, *, from_on: Any) -> GoalTyped:
    """A goal whose baseline is what was measured last."""
    judged = judged_as(told["by"])
    target = told.get("target")
    return GoalTyped(
        text=told["text"],
        judged=judged,
        due_on=from_on + timedelta(days=told["due_after"]),
        baseline=_measured(judged, values),
        target=None if target is None else judged.rounded(target),
    )


def _measured(judged: Judged, values: Values) -> Any:
    return judged.rounded(values[judged.written].value) if judged.is_measured else None


def _plan(episode: Episode) -> PlanOfCare:
    return PlanOfCare.objects.select_related("episode__client").get(episode=episode)


def _certified_act(told: dict[str, Any], episode: Episode, stage: Stage) -> Act:
    def play() -> None:
        certified = Certified(str(episode.referrer), stage.day(told["signed"]))
        certify_plan(plan=_plan(episode), certified=certified, by=stage.cast.front_desk)

    return Act(told["day"], 8, play)


def _review_act(told: dict[str, Any], episode: Episode, stage: Stage, tape: Tape) -> Act:
    def play() -> None:
        tape.flush()
        goal = _plan(episode).goals.get(place=told["goal"])
        judged = judged_as(told["by"])
        reviewed = Reviewed(
            GoalStatus(told["status"]),
            stage.day(told["day"]),
            _measured(judged, goal_values(episode)),
            told["remark"],
        )
        review_goal(goal=goal, reviewed=reviewed, by=episode.therapist)

    return Act(told["day"], 9, play)

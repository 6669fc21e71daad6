"""CarePlan and Goal: plans of care as signed, home programmes as issued."""

from collections.abc import Iterator
from decimal import Decimal

from clinic.exchange.fhir import pieces
from clinic.exchange.fhir.care import episode_reference
from clinic.exchange.fhir.pieces import Json, Maker
from clinic.exchange.fhir.scored import ucum_of
from clinic.exchange.rows import ClientRows
from clinic.visits.goal_measures import judged_by
from clinic.visits.plans import Goal, PlanOfCare
from clinic.visits.words import GoalMeasure, GoalStatus
from programmes.body.steps import Step, steps_of
from programmes.handout import count_words
from programmes.models import Programme, Standing

CATEGORY_PLAN = pieces.own("care-plan", "plan-of-care", "plan of care")
CATEGORY_HOME = pieces.own("care-plan", "home-programme", "home programme")
UNIT_OF = {
    GoalMeasure.EXCESS_PERCENT: "%",
    GoalMeasure.EXCESS_ML: "mL",
    GoalMeasure.RELATIVE_CHANGE: "%",
}
# Our word for how a goal stands -> (lifecycle, achievement), both of R4.
STANDINGS = {
    GoalStatus.OPEN: ("active", ("in-progress", "In Progress")),
    GoalStatus.MET: ("completed", ("achieved", "Achieved")),
    GoalStatus.PARTLY: ("active", ("improving", "Improving")),
    GoalStatus.NOT_MET: ("completed", ("not-achieved", "Not Achieved")),
    GoalStatus.DROPPED: ("cancelled", None),
}
# Of an ended plan: R4's completed is "no longer being sought"; how far it came, its notes tell.
NO_LONGER_SOUGHT: tuple[str, None] = ("completed", None)


# Plans of care


def plans_of_care(maker: Maker, rows: ClientRows) -> Iterator[Json]:
    today = rows.made_at.astimezone(rows.zone).date()
    for plan in rows.plans:
        # One that is to be followed by another still runs until its last day.
        is_over = plan.ended_on is not None and plan.ended_on < today
        goals = [_goal(maker, goal, is_over=is_over) for goal in plan.goals.all()]
        yield _plan(maker, plan, goals, is_over=is_over)
        yield from goals


def _plan(maker: Maker, plan: PlanOfCare, goals: list[Json], *, is_over: bool) -> Json:
    certified = (
        f"Certified by {plan.certified_by} on {plan.certified_on.isoformat()}."
        if plan.certified_on
        else ""
    )
    often = {"repeat": {"frequency": plan.visits_a_week, "period": 1, "periodUnit": "wk"}}
    detail = {
        "status": "completed" if is_over else "in-progress",
        "description": plan.treatment,
        "scheduledTiming": often,
        "goal": [pieces.reference("Goal", goal["id"]) for goal in goals],
    }
    return maker.resource(
        "CarePlan",
        str(plan.pk),
        status="completed" if is_over else "active",
        intent="plan",
        category=[CATEGORY_PLAN],
        title=str(plan),
        description=plan.outlook,
        subject=maker.subject,
        period=pieces.period(plan.from_on, plan.ended_on or plan.to_on),
        created=pieces.instant(plan.written_at),
        author=maker.staff(plan.signed_by_id),
        goal=detail["goal"],
        activity=[{"detail": pieces.filled(**detail)}],
        supportingInfo=[episode_reference(plan.episode_id)],
        note=pieces.note(certified, f"For {plan.weeks} weeks."),
    )


def _goal(maker: Maker, goal: Goal, *, is_over: bool) -> Json:
    reviews = list(goal.reviews.all())
    status = GoalStatus(reviews[-1].status) if reviews else GoalStatus.OPEN
    lifecycle, achieved = STANDINGS[status]
    if is_over and lifecycle == "active":
        lifecycle, achieved = NO_LONGER_SOUGHT
    told = (
        f"{review.reviewed_on.isoformat()}: {GoalStatus(review.status).label}. {review.remark}"
        for review in reviews
    )
    return maker.resource(
        "Goal",
        maker.id_of("goal", goal.pk),
        lifecycleStatus=lifecycle,
        achievementStatus=pieces.hl7("goal-achievement", *achieved) if achieved else None,
        description={"text": goal.text},
        subject=maker.subject,
        startDate=goal.plan.from_on.isoformat(),
        target=[_target(goal)],
        statusDate=reviews[-1].reviewed_on.isoformat() if reviews else None,
        note=pieces.note(_baseline(goal), *(each.strip() for each in told)),
    )


def _target(goal: Goal) -> Json:
    """The measure, the number aimed at and the day; a goal judged by word has the day only."""
    judged = judged_by(goal.measure, goal.instrument)
    measured = goal.target is not None and judged.is_measured
    return pieces.filled(
        measure=pieces.own("goal-measure", judged.written, judged.words) if measured else None,
        detailQuantity=_in_unit(goal, goal.target) if measured else None,
        dueDate=goal.due_on.isoformat(),
    )


def _baseline(goal: Goal) -> str:
    if goal.baseline is None or not judged_by(goal.measure, goal.instrument).is_measured:
        return ""
    found = _in_unit(goal, goal.baseline)
    return f"From {found['value']} {found['unit']}."


def _in_unit(goal: Goal, value: Decimal | None) -> Json:
    judged = judged_by(goal.measure, goal.instrument)
    unit = ucum_of(judged.series.instrument) if judged.series else UNIT_OF[judged.measure]
    return pieces.quantity(value or 0, unit)


# Home programmes

ENDED = {
    Standing.IN_HAND: ("active", "in-progress"),
    Standing.SUPERSEDED: ("completed", "completed"),
    Standing.WITHDRAWN: ("revoked", "stopped"),
}


def home_programmes(maker: Maker, rows: ClientRows) -> Iterator[Json]:
    """Every programme that was given: its steps as activities, in order."""
    for programme in rows.programmes:
        yield _programme(maker, programme)


def _programme(maker: Maker, programme: Programme) -> Json:
    status, activity = ENDED[programme.standing]
    ended_at = programme.withdrawn_at or programme.superseded_at
    return maker.resource(
        "CarePlan",
        str(programme.pk),
        status=status,
        intent="order",
        category=[CATEGORY_HOME],
        title=str(programme),
        subject=maker.subject,
        period=pieces.period(programme.issued_at, ended_at),
        author=maker.staff(programme.issued_by_id),
        activity=[
            {"detail": {"status": activity, "description": told}} for told in _told(programme)
        ],
        supportingInfo=[episode_reference(programme.episode_id)],
        note=pieces.note(
            f"{programme.times_a_day} times a day.",
            _withdrawn(programme),
        ),
    )


def _withdrawn(programme: Programme) -> str:
    reason = programme.withdrawn_reason
    return f"Withdrawn: {reason}" if reason else ""


def _told(programme: Programme) -> Iterator[str]:
    yield from (_step_words(step) for step in steps_of(programme.steps))
    parts = {
        "Skin care": programme.skin_care,
        "Compression": programme.wear_schedule,
        "Breathing": programme.breathing,
        "Stop and call": programme.stop_and_call,
    }
    yield from (f"{name}: {text}" for name, text in parts.items() if text.strip())
    for exercise in programme.exercises:
        said = (exercise.get(name, "") for name in ("name", "position", "how", "dose"))
        yield f"Exercise: {'. '.join(part for part in said if part)}"


def _step_words(step: Step) -> str:
    """ "Right armpit, 10 circles, toward the collarbone"."""
    name = step.technique.label if step.technique.is_breathing else step.place
    count = count_words(step).replace("\N{NO-BREAK SPACE}", " ")
    said = (name, count, step.direction, step.hand, step.note)
    return "; ".join(part for part in said if part)

"""The course of one limb through an episode: every comparable session over one section."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from itertools import zip_longest
from typing import TypeVar
from uuid import UUID

from clinic.clients.models import PhaseChange
from clinic.common.vocabulary import Phase, Side
from measurements.limb.comparison import Weights, by_weight, shared_section
from measurements.limb.course import (
    DecongestionFit,
    MeasuredDay,
    decongestion,
    excess_day,
    limb_day,
)
from measurements.limb.error import DEFAULT_TAPE_ERROR, TapeError
from measurements.limb.errors import ComparisonError
from measurements.limb.girth import LimbGirths
from measurements.limb.trend import SessionGirths, Trend, TrendPoint, trend
from measurements.limb.volume import Volume, limb_volume
from measurements.report import (
    CoursePoint,
    LimbCourse,
    LimbPoint,
    PhaseDecongestion,
    PhaseSpan,
    SessionReport,
)
from measurements.selectors.sessions import report_of
from measurements.selectors.taped import Taped, TapedLimbs, weights_of

T = TypeVar("T", bound=TapedLimbs)
Points = dict[UUID, TrendPoint]


def course_of(sessions: Sequence[Taped], phases: Sequence[PhaseChange]) -> LimbCourse:
    """One kind of limb, sessions oldest first, at least one of them."""
    kept = comparable(sessions)
    own = {side: _limb_trend(kept, side) for side in Side}
    excess = _excess_trend(kept)
    longest = max((excess[0], *(each for each, _ in own.values())), key=lambda t: len(t.points))
    baseline = next((each for each in sessions if each.facts.is_baseline), None)
    spans = phase_spans(phases)
    course = LimbCourse(
        limb=sessions[-1].facts.limb,
        affected_side=sessions[-1].sides.side,
        is_bilateral=sessions[-1].sides.is_bilateral,
        points=tuple(_point(each, excess[1], own) for each in kept),
        section=excess[0].section or longest.section,
        section_is_shorter=excess[0].section_is_shorter or longest.section_is_shorter,
        left_out=len(sessions) - len(kept),
        baseline=report_of(baseline, baseline=None, previous=None) if baseline else None,
        latest=report_within(sessions[-1], sessions),
        phases=spans,
        decongestion=_decongestion(kept, spans, excess[1], own),
    )
    return _with_fit(course, course.told_excess)


def report_within(now: Taped, sessions: Sequence[Taped]) -> SessionReport:
    """A session's report against the baseline and the session before it, of one kind of limb."""
    baseline, previous = earlier_than(now, sessions)
    return report_of(now, baseline=baseline, previous=previous)


def earlier_than(now: Taped, sessions: Sequence[Taped]) -> tuple[Taped | None, Taped | None]:
    """(baseline, previous) among the sessions taken before this one."""
    earlier = [each for each in sessions if _moment(each) < _moment(now)]
    baseline = next((each for each in earlier if each.facts.is_baseline), None)
    return baseline, earlier[-1] if earlier else None


def _moment(each: Taped) -> tuple[object, ...]:
    return each.facts.taken_on, each.facts.round, each.session.recorded_at


def comparable(sessions: Sequence[T]) -> list[T]:
    """The sessions, latest first considered, whose girths share a stretch with all kept so far."""
    kept: list[T] = []
    for each in reversed(sessions):
        if each.limbs and _share_a_section([each, *kept]):
            kept.insert(0, each)
    return kept


def _share_a_section(sessions: Sequence[TapedLimbs]) -> bool:
    try:
        shared_section(*(limb for each in sessions for limb in each.limbs))
    except ComparisonError:
        return False
    return True


def _excess_trend(sessions: Sequence[Taped]) -> tuple[Trend, Points]:
    """The trend of the excess over the sessions that taped both limbs."""
    paired = [(each, each.pair) for each in sessions if each.pair]
    found = trend(
        [
            SessionGirths(each.facts.taken_on, *pair, is_baseline=each.facts.is_baseline)
            for each, pair in paired
            if pair
        ],
        tape=_tape(sessions),
    )
    return found, _by_session([each for each, _ in paired], found)


def _limb_trend(sessions: Sequence[Taped], side: Side) -> tuple[Trend, Points]:
    """The trend of one limb's own volume over the sessions that taped it."""
    pairs = [(each, girths) for each in sessions if (girths := each.of(side))]
    found = trend(
        [
            SessionGirths(each.facts.taken_on, girths, is_baseline=each.facts.is_baseline)
            for each, girths in pairs
        ],
        tape=_tape(sessions),
    )
    taped = [each for each, _ in pairs]
    return found, _beside_weight(_by_session(taped, found), taped)


def _beside_weight(points: Points, taped: Sequence[Taped]) -> Points:
    """In bilateral disease, what body weight makes of each change since baseline."""
    then = next((each for each in taped if each.facts.is_baseline), None)
    if then is None:
        return points
    was = points[then.facts.id].volume
    return {
        each.facts.id: _weighed(points[each.facts.id], was, weights_of(each, then))
        for each in taped
    }


def _weighed(point: TrendPoint, was: Volume, weights_kg: Weights | None) -> TrendPoint:
    if point.change is None or weights_kg is None:
        return point
    now = point.volume
    says = by_weight((now.ml, was.ml), (now.error_ml, was.error_ml), weights_kg)
    return replace(point, change=replace(point.change, by_weight=says))


def volume_points(
    sessions: Sequence[TapedLimbs], side: Side, *, is_excess: bool
) -> list[tuple[date, float]]:
    """(day, mL) of every session that can be compared with the last, over their shared stretch.

    The excess of the affected limb, or one limb's own volume; oldest first.
    """
    found = [
        (each, pair)
        for each in comparable(sessions)
        if (pair := each.pair if is_excess else _alone(each.of(side)))
    ]
    if not found:
        return []
    section = shared_section(*(limb for _, limbs in found for limb in limbs))
    points = []
    for each, limbs in found:
        own, *other = (limb_volume(limb, section=section, tape=each.tape).ml for limb in limbs)
        points.append((each.facts.taken_on, float(own - sum(other))))
    return points


def _alone(girths: LimbGirths | None) -> tuple[LimbGirths, ...]:
    return (girths,) if girths else ()


def _tape(sessions: Sequence[Taped]) -> TapeError:
    """One course is of one kind of limb; an empty one needs no error."""
    return sessions[0].tape if sessions else DEFAULT_TAPE_ERROR


def _by_session(sessions: Sequence[Taped], found: Trend) -> Points:
    """Trend points keep the order of the sessions, which come oldest first."""
    ids = [each.facts.id for each in sessions]
    return dict(zip(ids, found.points, strict=True))


def _point(each: Taped, excess: Points, own: dict[Side, tuple[Trend, Points]]) -> CoursePoint:
    found = excess.get(each.facts.id)
    compared = found.comparison if found else None
    limbs = {
        side: _limb_point(side, points.get(each.facts.id)) for side, (_, points) in own.items()
    }
    return CoursePoint(
        session_id=each.facts.id,
        taken_on=each.facts.taken_on,
        round=each.facts.round,
        is_baseline=each.facts.is_baseline,
        excess_ml=compared.excess_ml if compared else None,
        error_ml=compared.excess_error_ml if compared else None,
        percent=compared.excess_percent if compared else None,
        percent_error=compared.excess_percent_error if compared else None,
        other_ml=compared.other.ml if compared else None,
        verdict=found.change.verdict if found and found.change else None,
        left=limbs[Side.LEFT],
        right=limbs[Side.RIGHT],
        weight_kg=each.facts.weight_kg,
    )


def _limb_point(side: Side, found: TrendPoint | None) -> LimbPoint | None:
    if found is None:
        return None
    change = found.change
    return LimbPoint(
        side=side,
        volume_ml=found.volume.ml,
        volume_error_ml=found.volume.error_ml,
        change_ml=change.change_ml if change else None,
        change_error_ml=change.error_ml if change else None,
        change_percent=change.percent if change else None,
        verdict=change.verdict if change else None,
        by_weight=change.by_weight if change else None,
    )


# The intensive phase


def told_phase(spans: Sequence[PhaseSpan]) -> PhaseSpan | None:
    """The intensive phase that runs, or that the present phase followed."""
    return next((span for span in reversed(spans[-2:]) if span.phase is Phase.INTENSIVE), None)


def _decongestion(
    kept: Sequence[Taped],
    spans: Sequence[PhaseSpan],
    excess: Points,
    own: dict[Side, tuple[Trend, Points]],
) -> tuple[PhaseDecongestion, ...]:
    """Of a phase that ended without a plateau there is nothing to say."""
    span = told_phase(spans)
    if span is None:
        return ()
    within = [each for each in kept if _is_within(span, each)]
    found = (
        PhaseDecongestion(
            limb=each.facts.limb,
            side=side,
            is_excess=is_excess,
            from_on=span.from_on,
            ended_on=span.to_on,
            found=decongestion(days),
        )
        for each in kept[-1:]
        for side, is_excess, days in _volumes(within, each.sides.side, excess, own)
    )
    return tuple(each for each in found if span.to_on is None or each.told)


def _is_within(span: PhaseSpan, each: Taped) -> bool:
    """The day on which the phase changes was taped before the change."""
    taken_on = each.facts.taken_on
    return span.from_on <= taken_on and (span.to_on is None or taken_on <= span.to_on)


def _volumes(
    within: Sequence[Taped],
    affected: Side | None,
    excess: Points,
    own: dict[Side, tuple[Trend, Points]],
) -> Iterator[tuple[Side, bool, list[MeasuredDay]]]:
    """What falls in the phase: the excess; each swollen limb by itself where there is none."""
    ids = [each.facts.id for each in within]
    if affected and excess:
        compared = (
            (excess[each].taken_on, excess[each].comparison) for each in ids if each in excess
        )
        yield affected, True, [excess_day(on, c.affected, c.other) for on, c in compared if c]
        return
    for side in (affected,) if affected else (Side.RIGHT, Side.LEFT):
        points = own[side][1]
        if points:
            yield (
                side,
                False,
                [
                    limb_day(points[each].taken_on, points[each].volume)
                    for each in ids
                    if each in points
                ],
            )


def _with_fit(course: LimbCourse, fit: DecongestionFit | None) -> LimbCourse:
    """Each session of the phase beside what the fitted course gives for its day."""
    if fit is None:
        return course
    return replace(course, points=tuple(_fitted(point, fit) for point in course.points))


def _fitted(point: CoursePoint, fit: DecongestionFit) -> CoursePoint:
    is_within = fit.first_on <= point.taken_on <= fit.last_on and point.excess_ml is not None
    return replace(point, fitted_ml=fit.at(point.taken_on)) if is_within else point


def phase_spans(phases: Sequence[PhaseChange]) -> tuple[PhaseSpan, ...]:
    """Phases one after the other, each until the next begins; `phases` oldest first."""
    return tuple(
        PhaseSpan(Phase(each.phase), each.since_on, following.since_on if following else None)
        for each, following in zip_longest(phases, phases[1:])
    )

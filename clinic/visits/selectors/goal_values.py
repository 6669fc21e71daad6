"""What the record measures now for what a goal may be judged by."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from math import sqrt

from clinic.clients.models import Episode
from clinic.visits.goal_measures import Judged
from clinic.visits.goals import Measured
from clinic.visits.words import GoalMeasure
from measurements.limb.comparison import Comparison
from measurements.limb.score_change import KEPT_TO
from measurements.report import SessionReport
from measurements.score_report import ScoreStanding
from measurements.scored import Series
from measurements.selectors.reports import latest_by_episode
from measurements.selectors.scores import latest_scores

Values = Mapping[str, "GoalValue"]


@dataclass(frozen=True)
class GoalValue:
    """The latest measured value with its error, the day, and of what ("right arm")."""

    measured: Measured
    measured_on: date
    of: str

    @property
    def value(self) -> float:
        return self.measured.value


def goal_values(
    episode: Episode,
    *,
    reports: Iterable[SessionReport] | None = None,
    scores: Iterable[ScoreStanding] | None = None,
) -> Values:
    """By `Judged.written`, what the record measured last. 5 queries for the tape, 1 for scores.

    `reports` (the latest of each limb) and `scores` spare them where a page has read them. Of an
    episode in which both arm and leg are compared there is no value of the tape: a goal does not
    say which of the two it means.
    """
    if reports is None:
        reports = latest_by_episode([episode]).get(episode.pk, ())
    if scores is None:
        scores = latest_scores(episode)
    return dict([*_of_the_tape(list(reports)), *_of_scores(scores)])


def _of_the_tape(reports: list[SessionReport]) -> Iterator[tuple[str, GoalValue]]:
    compared = [each for each in reports if each.comparison is not None]
    if len(compared) != 1:
        return
    report = compared[0]
    side = report.affected_side
    of = " ".join(filter(None, [side.label if side else "", report.facts.limb.label]))
    for measure, measured in _numbers(report, report.comparison):
        yield measure.value, GoalValue(measured, report.facts.taken_on, of)


def _numbers(
    report: SessionReport, comparison: Comparison | None
) -> Iterator[tuple[GoalMeasure, Measured]]:
    if comparison is not None:
        percent, ml = comparison.excess_percent, comparison.excess_ml
        of_percent = Measured.with_error(percent, comparison.excess_percent_error)
        yield GoalMeasure.EXCESS_PERCENT, of_percent
        yield GoalMeasure.EXCESS_ML, Measured.with_error(ml, comparison.excess_error_ml)
    if report.relative_change is not None:
        change = report.relative_change
        yield GoalMeasure.RELATIVE_CHANGE, Measured.with_error(change.value, change.error)


def _of_scores(scores: Iterable[ScoreStanding]) -> Iterator[tuple[str, GoalValue]]:
    """The latest of each instrument, side and part; of several sets of activities the latest."""
    for each in sorted(scores, key=lambda standing: standing.latest.scored_on):
        on, of = each.latest.scored_on, each.series.title
        bare = Series(each.series.instrument, each.series.side, each.series.part)
        yield Judged(GoalMeasure.SCORE, bare).written, GoalValue(_scored(each), on, of)


def _scored(standing: ScoreStanding) -> Measured:
    """A score with what its instrument is known to err by; reaching that change counts as real.

    The limits in print are of a change between two scores; one score errs by less, by sqrt(2).
    """
    limit = standing.spec.limits_for(standing.series.part).beyond_error
    score = float(standing.latest.score)
    if limit is None:
        return Measured(score)
    change_limit = limit.at(float(standing.baseline.score))
    return Measured(score, change_limit / sqrt(2) - KEPT_TO, change_limit - KEPT_TO)


def scores_taken(values: Values) -> list[str]:
    """The outcome scores this episode has, as `Judged.written`, by their order."""
    prefix = f"{GoalMeasure.SCORE.value}:"
    return [written for written in values if written.startswith(prefix)]

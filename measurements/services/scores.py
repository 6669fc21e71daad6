"""Keeping and striking out outcome scores."""

from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode
from measurements.limb.instruments import SPECS, check_score
from measurements.limb.score_errors import NothingScored, ScoredOnImpossible, ScoreStruck
from measurements.models import OutcomeScore
from measurements.scored import ScoresTaken, ScoreTaken
from measurements.services.record import lock_episode


@transaction.atomic
def record_scores(*, episode: Episode, taken: ScoresTaken, by: User) -> tuple[OutcomeScore, ...]:
    """Keep all scores of one instrument and day, or none; a page sent twice is kept once.

    Scores in the instrument's own unit. Raises the ScoreErrors.
    """
    episode = lock_episode(episode)
    _check(episode, taken)
    if twins := _saved_already(episode, taken, by):
        return twins
    rows = OutcomeScore.objects.bulk_create(
        _row(episode, taken, score, by=by) for score in taken.scores
    )
    audit.record(by, "scores.recorded", client=episode.client, subject=rows[0])
    return tuple(rows)


@transaction.atomic
def strike_score(*, score: OutcomeScore, reason: str, by: User) -> OutcomeScore:
    """Strike a score out; it stays to be read and counts nowhere. Raises ScoreStruck."""
    episode = lock_episode(score.episode)
    score.refresh_from_db()
    if score.struck_at is not None:
        raise ScoreStruck(str(score.pk))
    score.struck_at, score.struck_by, score.struck_reason = timezone.now(), by, reason
    score.save(update_fields=["struck_at", "struck_by", "struck_reason"])
    audit.record(by, "scores.struck", client=episode.client, subject=score)
    return score


def _check(episode: Episode, taken: ScoresTaken) -> None:
    today, born_on = timezone.localdate(), episode.client.born_on
    if not born_on <= taken.scored_on <= today:
        raise ScoredOnImpossible(taken.scored_on, max(born_on, min(taken.scored_on, today)))
    if not taken.scores:
        raise NothingScored
    for each in taken.scores:
        spec = SPECS[each.series.instrument]
        check_score(spec, float(each.score), side=each.series.side, part=each.series.part)


def _saved_already(
    episode: Episode, taken: ScoresTaken, by: User
) -> tuple[OutcomeScore, ...] | None:
    """The same scores of the same person and day: a second click, or a page sent twice."""
    of_day = OutcomeScore.objects.filter(
        episode=episode, scored_on=taken.scored_on, scored_by=by, struck_at=None
    )
    kept = {_facts(row): row for row in of_day}
    wanted = [_facts(_row(episode, taken, score, by=by)) for score in taken.scores]
    return tuple(kept[facts] for facts in wanted) if kept.keys() >= set(wanted) else None


def _facts(row: OutcomeScore) -> tuple[object, ...]:
    lists: Iterable[object] = (tuple(row.items), tuple(row.activities))
    return (row.instrument, row.side, row.part, row.score, row.note, *lists)


def _row(episode: Episode, taken: ScoresTaken, each: ScoreTaken, *, by: User) -> OutcomeScore:
    return OutcomeScore(
        episode=episode,
        instrument=each.series.instrument,
        side=each.series.side or "",
        part=each.series.part or "",
        activities=list(each.series.activities),
        scored_on=taken.scored_on,
        score=each.score,
        items=list(each.items),
        note=taken.note,
        scored_by=by,
    )

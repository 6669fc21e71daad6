"""One session's report, built from what was taped then and before."""

from collections.abc import Iterator
from dataclasses import dataclass

from clinic.common.vocabulary import Side
from measurements.limb.comparison import (
    Change,
    Comparison,
    Judged,
    Verdict,
    change_since,
    compare_limbs,
    comparison_of,
    excess_change,
    is_shorter,
    relative_change_since,
    shared_section,
)
from measurements.limb.error import TapeError
from measurements.limb.errors import ComparisonError
from measurements.limb.girth import LimbGirths
from measurements.limb.thresholds import criteria, severity
from measurements.limb.volume import Section, limb_volume, segment_volumes
from measurements.report import Caution, EndRow, GirthRow, SessionReport, Since
from measurements.selectors.taped import Taped, TapedLimbs, weights_of
from measurements.standing import LastSession

# A rise of this share in less than this time asks for a look the same day; common practice, no
# source.
SUDDEN_RISE_PERCENT = 10.0
SUDDEN_RISE_DAYS = 14


def report_of(now: Taped, *, baseline: Taped | None, previous: Taped | None) -> SessionReport:
    """What a session says by itself, against its baseline and against the session before it."""
    comparison = _comparison(now)
    relative = _relative_change(now, baseline)
    since = (_since(now, baseline), _since(now, previous))
    return SessionReport(
        facts=now.facts,
        affected_side=now.sides.side,
        is_bilateral=now.sides.is_bilateral,
        rows=girth_rows(now),
        ends=_ends(now),
        left_girths=now.left,
        right_girths=now.right,
        left=limb_volume(now.left, tape=now.tape) if now.left else None,
        right=limb_volume(now.right, tape=now.tape) if now.right else None,
        comparison=comparison,
        since_baseline=since[0],
        since_previous=since[1],
        relative_change=relative,
        criteria=criteria(comparison, relative_change_percent=relative.value if relative else None),
        severity=severity(
            comparison.excess_percent if comparison else None, is_bilateral=now.sides.is_bilateral
        ),
        section=comparison.section if comparison else None,
        section_is_shorter=bool(comparison and comparison.section_is_shorter),
        cautions=tuple(_cautions(now, comparison, since)),
    )


def last_session(
    now: TapedLimbs, *, baseline: TapedLimbs | None, previous: TapedLimbs | None
) -> LastSession:
    """Of a session's report, what a standing tells."""
    since = (_since(now, baseline), _since(now, previous))
    return LastSession(
        limb=now.facts.limb,
        session_id=now.facts.id,
        taken_on=now.facts.taken_on,
        affected=now.sides.side,
        is_bilateral=now.sides.is_bilateral,
        left=limb_volume(now.left, tape=now.tape) if now.left else None,
        right=limb_volume(now.right, tape=now.tape) if now.right else None,
        comparison=_comparison(now),
        since_baseline=since[0],
        since_previous=since[1],
        relative_change=_relative_change(now, baseline),
        is_sudden_rise=any(map(_is_sudden_rise, since)),
        both_rose=_both_rose(since[1]),
    )


def _comparison(now: TapedLimbs) -> Comparison | None:
    """The limbs of one session over their shared stretch; None where they share none."""
    try:
        return compare_limbs(*now.pair, tape=now.tape) if now.pair else None
    except ComparisonError:
        return None


# Rows


@dataclass(frozen=True)
class _Column:
    """What was taped on one side, by level in cm; segments by the level they begin at."""

    girths_cm: dict[float, float]
    segments_ml: dict[float, float]
    confirmed_cm: frozenset[float]


def girth_rows(now: Taped) -> tuple[GirthRow, ...]:
    """Every station taped on either side, distal first."""
    levels = sorted({level for girths in now.limbs for level in girths.levels_cm})
    labels = {float(each.level_cm): each.label for each in now.session.protocol.stations.all()}
    left, right = (_column(now, side) for side in (Side.LEFT, Side.RIGHT))
    sign = -1 if now.sides.side is Side.LEFT else 1
    return tuple(
        GirthRow(
            level_cm=level,
            label=labels.get(level, f"{level:g} cm"),
            left_cm=left.girths_cm.get(level),
            right_cm=right.girths_cm.get(level),
            difference_cm=_difference(left.girths_cm, right.girths_cm, level, sign),
            left_segment_ml=left.segments_ml.get(level),
            right_segment_ml=right.segments_ml.get(level),
            segment_excess_ml=_difference(left.segments_ml, right.segments_ml, level, sign),
            left_was_confirmed=level in left.confirmed_cm,
            right_was_confirmed=level in right.confirmed_cm,
        )
        for level in levels
    )


def _column(now: Taped, side: Side) -> _Column:
    girths = now.of(side)
    return _Column(
        girths_cm=dict(girths) if girths else {},
        segments_ml={each.section.from_cm: each.ml for each in segment_volumes(girths)}
        if girths
        else {},
        confirmed_cm=frozenset(
            float(each.level_cm)
            for each in now.session.readings.all()
            if each.was_confirmed and each.side == side
        ),
    )


def _difference(
    left: dict[float, float], right: dict[float, float], level_cm: float, sign: int
) -> float | None:
    """Right minus left times `sign`; None where either is missing."""
    if level_cm not in left or level_cm not in right:
        return None
    return sign * (right[level_cm] - left[level_cm])


def _ends(now: Taped) -> tuple[EndRow, ...]:
    return tuple(
        EndRow(
            side=Side(each.side),
            figure_of_eight_cm=_number(each.figure_of_eight_cm),
            displaced_ml=_number(each.displaced_ml),
        )
        for each in now.session.end_readings.all()
    )


def _number(value: object) -> float | None:
    return None if value is None else float(str(value))


# Against an earlier session


def _since(now: TapedLimbs, then: TapedLimbs | None) -> Since | None:
    if then is None:
        return None
    own = {side: _limb_change(now, then, side) for side in Side}
    excess = _excess_change(now, then)
    return Since(
        session_id=then.facts.id,
        taken_on=then.facts.taken_on,
        days=(now.facts.taken_on - then.facts.taken_on).days,
        posture_differs=now.facts.posture is not then.facts.posture,
        excess=excess,
        left=own[Side.LEFT],
        right=own[Side.RIGHT],
        affected=own[now.sides.side] if now.sides.side else None,
        is_comparable=any((excess, *own.values())),
    )


def _limb_change(now: TapedLimbs, then: TapedLimbs, side: Side) -> Change | None:
    """The limb's own change; None when it was not taped then, or from another start."""
    is_now, was_then = now.of(side), then.of(side)
    if is_now is None or was_then is None:
        return None
    try:
        return change_since(is_now, was_then, tape=now.tape, weights_kg=weights_of(now, then))
    except ComparisonError:
        return None


def _compared_alike(
    now: TapedLimbs, then: TapedLimbs | None
) -> tuple[Comparison, Comparison] | None:
    """Both sessions compared over what all four limbs share; None when that cannot be had."""
    if then is None or now.pair is None or then.pair is None:
        return None
    try:
        section = shared_section(*now.pair, *then.pair)
    except ComparisonError:
        return None
    return _over(section, now.pair, now.tape), _over(section, then.pair, now.tape)


def _over(section: Section, pair: tuple[LimbGirths, LimbGirths], tape: TapeError) -> Comparison:
    """Two limbs over a stretch, for a change across sessions: girth by girth is not asked for."""
    volumes = (limb_volume(each, section=section, tape=tape) for each in pair)
    return comparison_of(*volumes, section_is_shorter=is_shorter(section, *pair))


def _excess_change(now: TapedLimbs, then: TapedLimbs) -> Change | None:
    pairs = _compared_alike(now, then)
    return excess_change(*pairs) if pairs else None


def _relative_change(now: TapedLimbs, baseline: TapedLimbs | None) -> Judged | None:
    pairs = _compared_alike(now, baseline)
    return relative_change_since(*pairs) if pairs else None


# Cautions


def _cautions(
    now: Taped, comparison: Comparison | None, since: tuple[Since | None, Since | None]
) -> Iterator[Caution]:
    baseline, previous = since
    applies = {
        Caution.STRUCK: now.facts.is_struck,
        Caution.ONE_LIMB: len(now.limbs) < 2,
        Caution.BILATERAL: now.sides.is_bilateral,
        Caution.WEIGHT_UNKNOWN: any(map(_lacks_weight, since)),
        Caution.SIDE_UNKNOWN: not now.sides.is_bilateral and now.sides.side is None,
        Caution.NO_BASELINE: baseline is None and not now.facts.is_baseline,
        Caution.NOT_COMPARABLE: any(each and not each.is_comparable for each in since),
        Caution.SHORTER: bool(comparison and comparison.section_is_shorter)
        or any(map(_is_shorter, since)),
        Caution.POSTURE: any(each and each.posture_differs for each in since),
        Caution.CONFIRMED: any(each.was_confirmed for each in now.session.readings.all()),
        Caution.SUDDEN_RISE: any(map(_is_sudden_rise, since)),
        Caution.BOTH_ROSE: _both_rose(previous),
    }
    yield from (caution for caution in Caution if applies.get(caution))


def _lacks_weight(since: Since | None) -> bool:
    own = (since.left, since.right) if since else ()
    return any(each and each.by_weight and not each.by_weight.is_known for each in own)


def _is_shorter(since: Since | None) -> bool:
    changes = (since.excess, since.left, since.right) if since else ()
    return any(change and change.section_is_shorter for change in changes)


def _rose(change: Change | None) -> bool:
    return bool(change and change.verdict is Verdict.BEYOND_ERROR_UP)


def _both_rose(previous: Since | None) -> bool:
    return bool(previous and _rose(previous.left) and _rose(previous.right))


def _is_sudden_rise(since: Since | None) -> bool:
    if since is None or since.days >= SUDDEN_RISE_DAYS:
        return False
    return any(
        change and _rose(change) and (change.percent or 0) >= SUDDEN_RISE_PERCENT
        for change in (since.left, since.right)
    )

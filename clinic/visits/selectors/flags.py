"""Red flags of a visit: the pure rules of `visits.red_flags` fed from the record."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from clinic.clients.models import AffectedRegion
from clinic.common.vocabulary import Involvement, Phase, Region, RegionSide, Side
from clinic.visits.desk import RedFlagDesk
from clinic.visits.models import RedFlagSeen, VisitNote
from clinic.visits.red_flags import (
    LimbShift,
    Place,
    RedFlag,
    RedFlagKind,
    Sign,
    VisitSigns,
    red_flags,
)
from measurements.limb.comparison import Change, Verdict
from measurements.report import Caution, SessionReport, Since
from measurements.selectors.sessions import SUDDEN_RISE_DAYS, SUDDEN_RISE_PERCENT


def visit_signs(
    note: VisitNote,
    reports: Sequence[SessionReport],
    *,
    phase: Phase,
    regions: Iterable[AffectedRegion],
    regions_then: Sequence[Sequence[str]] | None,
) -> VisitSigns:
    """What the red flags of a visit rest on. `reports` are of the sessions taped that day.

    A place is known if the last signed note named it; at a first note all of the episode's are.
    """
    now = {_place(each): each for each in regions}
    then = (
        now if regions_then is None else {Place(Region(r), RegionSide(s)) for r, s in regions_then}
    )
    return VisitSigns(
        phase=phase,
        signs=signs_of(note),
        shifts=tuple(shift for report in reports for shift in _shifts(report)),
        known=frozenset(then),
        swollen=frozenset(
            place for place, each in now.items() if each.involvement == Involvement.SWOLLEN
        ),
        both_rose=any(Caution.BOTH_ROSE in report.cautions for report in reports),
    )


def signs_of(note: VisitNote) -> frozenset[Sign]:
    return frozenset(sign for sign in Sign if sign.value in note.signs)


def flags_shown(seen: VisitSigns, rows: Iterable[RedFlagSeen]) -> tuple[RedFlagDesk, ...]:
    """Every flag found now, and every one acknowledged even if it is not found any more."""
    acknowledged = {RedFlagKind(row.kind): row for row in rows}
    found = {flag.kind: flag for flag in red_flags(seen)}
    return tuple(
        _shown(kind, found, acknowledged)
        for kind in RedFlagKind
        if kind in found or kind in acknowledged
    )


def _shown(
    kind: RedFlagKind, found: Mapping[RedFlagKind, RedFlag], seen: Mapping[RedFlagKind, RedFlagSeen]
) -> RedFlagDesk:
    row = seen.get(kind)
    if row is None:
        return RedFlagDesk(found[kind])
    flag = RedFlag(kind, tuple(row.because.split("; ")))
    return RedFlagDesk(flag, row.action, row.seen_by.signature, row.seen_at)


def _place(region: AffectedRegion) -> Place:
    return Place(Region(region.region), RegionSide(region.side))


def _shifts(report: SessionReport) -> Iterator[LimbShift]:
    """Each limb against the session before; against the baseline where only that shows a rise."""
    is_sudden = Caution.SUDDEN_RISE in report.cautions
    for side in Side:
        told = [
            _shift(report, since, side, is_sudden=is_sudden)
            for since in (report.since_previous, report.since_baseline)
            if since is not None
        ]
        shifts = [shift for shift in told if shift is not None]
        yield from [shift for shift in shifts if shift.rose_suddenly][:1] or shifts[:1]


def _shift(report: SessionReport, since: Since, side: Side, *, is_sudden: bool) -> LimbShift | None:
    change = since.left if side is Side.LEFT else since.right
    if change is None or change.percent is None:
        return None
    return LimbShift(
        limb=report.facts.limb,
        side=side,
        change_ml=change.change_ml,
        change_percent=change.percent,
        error_ml=change.error_ml,
        days_between=since.days,
        is_beyond_error=change.beyond_error,
        rose_suddenly=is_sudden and since.days < SUDDEN_RISE_DAYS and _is_rise(change),
    )


def _is_rise(change: Change) -> bool:
    """Which of the limbs it was that the session's report means."""
    is_up = change.verdict is Verdict.BEYOND_ERROR_UP
    return is_up and (change.percent or 0) >= SUDDEN_RISE_PERCENT

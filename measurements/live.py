"""What a session being typed says so far. Pure calls of the limb package, nothing of its own."""

from collections.abc import Mapping
from dataclasses import dataclass

from clinic.common.vocabulary import Limb, Side
from measurements.limb.comparison import Change, Comparison, change_since, compare_limbs
from measurements.limb.error import TAPE_ERRORS, TapeError
from measurements.limb.errors import ComparisonError
from measurements.limb.girth import LimbGirths
from measurements.limb.volume import Volume, limb_volume


@dataclass(frozen=True)
class LiveLimb:
    """One limb so far: its volume and the change since the last session, None until known."""

    side: Side
    taped: int
    stations: int
    volume: Volume | None
    change: Change | None

    @property
    def is_whole(self) -> bool:
        return self.taped == self.stations


@dataclass(frozen=True)
class LiveReport:
    """Both limbs so far. `difference` is affected minus other, or right minus left."""

    limbs: tuple[LiveLimb, ...]
    difference: Comparison | None
    first_side: Side
    is_excess: bool


def live_report(
    limb: Limb,
    limbs: Mapping[Side, LimbGirths],
    *,
    previous: Mapping[Side, LimbGirths],
    affected: Side | None,
    stations: Mapping[Side, int],
) -> LiveReport:
    """Volumes in mL of what is typed. `stations` says how many each side to be taped has."""
    first, tape = affected or Side.RIGHT, TAPE_ERRORS[limb]
    return LiveReport(
        limbs=tuple(
            LiveLimb(
                side=side,
                taped=len(limbs[side].levels_cm) if side in limbs else 0,
                stations=count,
                volume=limb_volume(limbs[side], tape=tape) if side in limbs else None,
                change=_change(limbs.get(side), previous.get(side), tape),
            )
            for side, count in stations.items()
        ),
        difference=_difference(limbs.get(first), limbs.get(first.other), tape),
        first_side=first,
        is_excess=affected is not None,
    )


def _change(now: LimbGirths | None, then: LimbGirths | None, tape: TapeError) -> Change | None:
    try:
        return change_since(now, then, tape=tape) if now and then else None
    except ComparisonError:
        return None


def _difference(
    first: LimbGirths | None, other: LimbGirths | None, tape: TapeError
) -> Comparison | None:
    try:
        return compare_limbs(first, other, tape=tape) if first and other else None
    except ComparisonError:
        return None

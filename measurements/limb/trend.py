"""A whole history at once: as arrays for a caseload, as points for one episode."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clinic.common.vocabulary import Side
from measurements.limb.comparison import (
    Change,
    Comparison,
    Judged,
    change_since_volumes,
    compare_limbs,
    excess_change,
    is_shorter,
    relative_change_since,
    shared_section,
)
from measurements.limb.error import DEFAULT_TAPE_ERROR, TapeError
from measurements.limb.errors import LengthNotPositive, MixedSides
from measurements.limb.girth import LimbGirths
from measurements.limb.volume import (
    Section,
    Volume,
    limb_volume,
    section_knots_cm,
    station_weights,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class HistoryVolumes:
    """Volumes in mL and their standard errors in mL, one a row of girths."""

    volume_ml: Floats
    error_ml: Floats
    independent_error_ml: Floats
    shared_error_ml: Floats

    def __getitem__(self, rows: slice) -> "HistoryVolumes":
        return HistoryVolumes(
            self.volume_ml[rows],
            self.error_ml[rows],
            self.independent_error_ml[rows],
            self.shared_error_ml[rows],
        )


def history_volumes(
    girths_cm: ArrayLike,
    levels_cm: Sequence[float],
    *,
    section: Section | None = None,
    tape: TapeError = DEFAULT_TAPE_ERROR,
) -> HistoryVolumes:
    """Volumes in mL with errors of many limbs taped once at the same levels.

    `girths_cm` is sessions x stations, cm; a NaN gives a NaN volume. A volume in girths is a
    quadratic form: V = C.(Q C) / 2 and dV/dC = Q C. Raises LengthNotPositive, SectionNotTaped.
    Source: the same truncated cones and the same propagation as `volume.limb_volume`.
    """
    girths = np.asarray(girths_cm, dtype=np.float64)
    if girths.size and not (smallest := float(np.nanmin(girths))) > 0:
        raise LengthNotPositive("girth_cm", smallest)
    slopes = girths @ curvature(levels_cm, section=section)
    independent = tape.independent_cm * np.sqrt(np.einsum("ij,ij->i", slopes, slopes))
    shared = tape.shared_cm * np.einsum("ij->i", slopes)
    return HistoryVolumes(
        volume_ml=np.einsum("ij,ij->i", slopes, girths) / 2,
        error_ml=np.sqrt(independent**2 + shared**2),
        independent_error_ml=independent,
        shared_error_ml=shared,
    )


def relative_changes(
    *,
    now: tuple[HistoryVolumes, HistoryVolumes],
    baseline: tuple[HistoryVolumes, HistoryVolumes],
) -> tuple[Floats, Floats]:
    """RVC in percent and its error, of many limbs at once; each pair is (affected, other).

    Volumes above 0, the four of a limb over one section. Source: `relative_change_since`.
    """
    (a2, u2), (a1, u1) = now, baseline
    percent = 100 * (a2.volume_ml * u1.volume_ml / (u2.volume_ml * a1.volume_ml) - 1)
    return percent, (100 + percent) * np.hypot(_ratio_errors(a2, u2), _ratio_errors(a1, u1))


def _ratio_errors(a: HistoryVolumes, b: HistoryVolumes) -> Floats:
    """As `error.ratio_error`."""
    own = np.hypot(a.independent_error_ml / a.volume_ml, b.independent_error_ml / b.volume_ml)
    shared = a.shared_error_ml / a.volume_ml - b.shared_error_ml / b.volume_ml
    return np.asarray(np.hypot(own, shared))


def curvature(levels_cm: Sequence[float], *, section: Section | None = None) -> Floats:
    """Second derivative of the volume in the girths, mL per cm^2, stations x stations.

    Source: h/(12 pi) (2 1; 1 2) for each truncated cone, its ends linear in the taped girths.
    """
    levels = tuple(float(level) for level in levels_cm)
    section = section or Section(levels[0], levels[-1])
    knots = section_knots_cm(levels, section)
    ends = np.zeros((len(knots), len(levels)))
    for row, knot in enumerate(knots):
        for station, weight in station_weights(levels, knot):
            ends[row, station] = weight
    heights = np.diff(knots) / (12 * pi)
    cones = np.diag(2 * (np.append(heights, 0) + np.insert(heights, 0, 0)))
    cones += np.diag(heights, 1) + np.diag(heights, -1)
    return np.asarray(ends.T @ cones @ ends)


@dataclass(frozen=True)
class SessionGirths:
    """What one session taped: the affected limb, and the other limb if it was taped."""

    taken_on: date
    affected: LimbGirths
    other: LimbGirths | None = None
    is_baseline: bool = False


@dataclass(frozen=True)
class TrendPoint:
    """One session over the trend's section. Without the other limb only `volume` is known.

    `change` is that of the excess, or of the limb's own volume where the other limb is missing
    now or at baseline; `relative_change` is RVC in percent; both None without a baseline and at
    the baseline itself.
    """

    taken_on: date
    is_baseline: bool
    volume: Volume
    comparison: Comparison | None
    change: Change | None
    change_is_of_excess: bool
    relative_change: Judged | None

    @property
    def excess_ml(self) -> float | None:
        return self.comparison.excess_ml if self.comparison else None

    @property
    def excess_error_ml(self) -> float | None:
        return self.comparison.excess_error_ml if self.comparison else None

    @property
    def excess_percent(self) -> float | None:
        return self.comparison.excess_percent if self.comparison else None


@dataclass(frozen=True)
class Trend:
    """The points of one episode in order of date, all over one section.

    `section` is what every limb of every session covers; `section_is_shorter` says that some
    session taped more than that.
    """

    side: Side | None
    points: tuple[TrendPoint, ...]
    section: Section | None
    section_is_shorter: bool

    @property
    def baseline(self) -> TrendPoint | None:
        return next((point for point in self.points if point.is_baseline), None)


def trend(sessions: Sequence[SessionGirths], *, tape: TapeError = DEFAULT_TAPE_ERROR) -> Trend:
    """One episode's sessions over the section all of them share, each against the baseline.

    Sessions may have been taped at different levels. At most one is the baseline; without one
    no change is given. Raises NoSharedSection, MixedProtocol, MixedSides, LengthNotPositive.
    """
    if not sessions:
        return Trend(side=None, points=(), section=None, section_is_shorter=False)
    ordered = sorted(sessions, key=lambda session: session.taken_on)
    sides = tuple(dict.fromkeys(session.affected.side for session in ordered))
    if len(sides) > 1:
        raise MixedSides(sides)
    limbs = [limb for each in ordered for limb in (each.affected, each.other) if limb]
    section = shared_section(*limbs)
    looks = [_look(each, section, tape) for each in ordered]
    first = next((look for look in looks if look.is_baseline), None)
    return Trend(
        side=sides[0],
        points=tuple(_against(first, look) for look in looks),
        section=section,
        section_is_shorter=is_shorter(section, *limbs),
    )


def _look(session: SessionGirths, section: Section, tape: TapeError) -> TrendPoint:
    """A session by itself, not yet held against the baseline."""
    comparison = (
        compare_limbs(session.affected, session.other, section=section, tape=tape)
        if session.other
        else None
    )
    return TrendPoint(
        taken_on=session.taken_on,
        is_baseline=session.is_baseline,
        volume=limb_volume(session.affected, section=section, tape=tape),
        comparison=comparison,
        change=None,
        change_is_of_excess=False,
        relative_change=None,
    )


def _against(baseline: TrendPoint | None, point: TrendPoint) -> TrendPoint:
    if baseline is None or point is baseline:
        return point
    now, then = point.comparison, baseline.comparison
    if now and then:
        change, relative = excess_change(now, then), relative_change_since(now, then)
    else:
        change, relative = change_since_volumes(point.volume, baseline.volume), None
    return replace(
        point, change=change, change_is_of_excess=bool(now and then), relative_change=relative
    )

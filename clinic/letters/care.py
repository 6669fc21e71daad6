"""What a report and a discharge summary say beyond a letter, frozen. No database, no clock.

Numbers in the unit of what they measure, unrounded; `margin` is half the width of the 95 % interval
of its value, None where the error is not known. Missing is None.
"""

from dataclasses import dataclass
from datetime import date

from clinic.visits.goal_measures import Judged, judged_by
from clinic.visits.words import GoalStatus
from measurements.limb.instruments import SPECS, Instrument, InstrumentSpec


@dataclass(frozen=True)
class PlanTold:
    """The plan of care in force, or the last one. `certified_by` is empty while it is open."""

    number: int
    from_on: date
    to_on: date
    visits_a_week: int
    weeks: int
    certified_by: str
    certified_on: date | None


@dataclass(frozen=True)
class GoalTold:
    """One goal: from where to where, where it stands now, and how certain that is.

    `standing` such as "towards the target, within measurement error"; empty where nothing is
    measured. `reviewed_on` is the day of the therapist's last word on it.
    """

    number: str
    text: str
    measure: str
    instrument: str
    baseline: float | None
    now: float | None
    now_on: date | None
    margin: float | None
    target: float | None
    due_on: date
    standing: str
    status: GoalStatus
    reviewed_on: date | None
    remark: str

    @property
    def judged(self) -> Judged:
        return judged_by(self.measure, self.instrument)


@dataclass(frozen=True)
class ScoreTold:
    """One outcome score: first and latest, the change and what it means.

    `matters` and `beyond_error` are the smallest changes in print, None where none is known.
    """

    instrument: str
    title: str
    first: float
    first_on: date
    now: float
    now_on: date
    change: float | None
    meaning: str
    matters: float | None
    beyond_error: float | None

    @property
    def spec(self) -> InstrumentSpec:
        return SPECS[Instrument(self.instrument)]


@dataclass(frozen=True)
class ServiceTold:
    """One service as given: on how many visits, minutes and units in all."""

    code: str
    name: str
    is_timed: bool
    visits: int
    minutes: int
    units: int


@dataclass(frozen=True)
class Given:
    """Treatment by the signed notes of a period, and the treatment days it counts.

    `days` are those of the period, `days_in_all` those of the episode up to its end. Units are
    those of each signed note, added. `rules` are the rules by which they were counted.
    """

    days: int
    days_in_all: int
    first_on: date | None
    last_on: date | None
    services: tuple[ServiceTold, ...]
    treatment_min: int
    timed_min: int
    units: int
    rules: tuple[str, ...]
    responses: tuple[str, ...] = ()


@dataclass(frozen=True)
class Care:
    """Plan of care, its goals, outcome scores and treatment, up to the end of the period."""

    plan: PlanTold | None
    goals: tuple[GoalTold, ...]
    scores: tuple[ScoreTold, ...]
    given: Given

    @property
    def goals_in_words(self) -> str:
        """ "1 of 2 goals met, 1 open."; empty without goals. Dropped ones are told apart."""
        standing = [goal.status for goal in self.goals if goal.status is not GoalStatus.DROPPED]
        if not standing:
            return ""
        met = standing.count(GoalStatus.MET)
        others = (
            f"{standing.count(status)} {status.label}"
            for status in (GoalStatus.PARTLY, GoalStatus.OPEN, GoalStatus.NOT_MET)
            if status in standing
        )
        goals = "goal" if len(standing) == 1 else "goals"
        return ", ".join([f"{met} of {len(standing)} {goals} met", *others]) + "."


@dataclass(frozen=True)
class GarmentTold:
    """A garment in use, in words with its pressure; `worn` "by day"."""

    words: str
    worn: str
    issued_on: date
    replacement_due_on: date | None


@dataclass(frozen=True)
class ProgrammeTold:
    """The home programme in hand."""

    number: int
    issued_on: date
    times_a_day: int


@dataclass(frozen=True)
class StageFirst:
    region: str
    stage: str
    found_on: date


@dataclass(frozen=True)
class Ending:
    """Why and when care ended, and what the client goes home with.

    `ended_on` and `reason` come from the change to the discharged phase; None and empty while the
    record does not say so. `missed` visits are those missed or cancelled late. `wear_schedule` is
    the client's, in plain words. `booked_on` is the next booking after the period. `first_stages`
    leave out a region that was looked at only once.
    """

    opened_on: date
    ended_on: date | None
    reason: str
    missed: int
    first_stages: tuple[StageFirst, ...]
    garments: tuple[GarmentTold, ...]
    programme: ProgrammeTold | None
    wear_schedule: str
    booked_on: date | None


def plural(count: int, one: str, many: str = "") -> str:
    """ "1 day", "2 days"."""
    return f"{count} {one if count == 1 else many or one + 's'}"

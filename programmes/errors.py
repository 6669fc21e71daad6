"""What a person can mend about programmes. Each error carries data only."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from clinic.common.errors import RuleBroken
from programmes.body.validator import Violation

# RuleBroken
# ├── DraftChanged
# ├── DraftExists
# ├── ProgrammeKept
# ├── NothingToUndo
# ├── NoSuchStep
# ├── NoSteps
# ├── PrecautionBars
# ├── ReasonMissing
# ├── EpisodeClosed
# ├── HandoutTooLong
# ├── DayNotPast
# ├── ExerciseNameTaken
# ├── GarmentError
# │   ├── DayStillToCome        a day of a garment or bandage after today
# │   ├── DaysCross             issued before ordered, ended or checked before issued
# │   └── GarmentEnded          the garment ended; its facts stay
# ├── ArteriesBar               an ABPI so low that compression is barred
# ├── NoLayers                  a bandaging without a bandage
# └── ChartError
#     ├── ChartNameTaken        another size chart in use has this name
#     ├── ChartRefused          the file has problems, so nothing was saved
#     └── SpanBackwards, SpanRepeated, SpanMissing, LevelDiffers     one line of the file
# The planner's own NoSafeRoute and SituationUnclear stand in programmes.body.errors.


class DraftChanged(RuleBroken):
    """Somebody else changed the draft in between; nothing of this person's edit is kept."""

    def __init__(self, *, by: Any, at: datetime) -> None:
        super().__init__(at)
        self.by = by
        self.at = at


class DraftExists(RuleBroken):
    """The episode has a draft already."""

    def __init__(self, draft: Any) -> None:
        super().__init__(str(draft.pk))
        self.draft = draft


class ProgrammeKept(RuleBroken):
    """An issued programme is never changed; it can be withdrawn once."""


class NothingToUndo(RuleBroken):
    """The draft is as it was first planned."""


class NoSuchStep(RuleBroken):
    """An edit names a step that is not there."""


class NoSteps(RuleBroken):
    """A programme without a single step is not issued."""


class PrecautionBars(RuleBroken):
    """Precautions that bar every manual step; `reasons` are sentences for the record."""

    def __init__(self, reasons: tuple[str, ...]) -> None:
        super().__init__(*reasons)
        self.reasons = reasons


class ReasonMissing(RuleBroken):
    """An unsound programme, or a withdrawal, needs a stated reason."""

    field = "reason"

    def __init__(self, found: tuple[Violation, ...] = ()) -> None:
        super().__init__(len(found))
        self.found = found


class EpisodeClosed(RuleBroken):
    """The episode is discharged."""


class HandoutTooLong(RuleBroken):
    """The handout runs over its three pages in the smallest layout."""

    def __init__(self, pages: int) -> None:
        super().__init__(pages)
        self.pages = pages


class DayNotPast(RuleBroken):
    """A day still to come, or before the episode was opened."""

    def __init__(self, field: str) -> None:
        super().__init__(field)
        self.field = field


class ExerciseNameTaken(RuleBroken):
    """Another exercise on the clinic's list has this name."""

    field = "name"


class GarmentError(RuleBroken):
    """A rule about a garment or a bandage."""


class DayStillToCome(GarmentError):
    """A day after today; `field` is where it was typed."""

    def __init__(self, field: str) -> None:
        super().__init__(field)
        self.field = field


class DaysCross(GarmentError):
    """The day typed in `field` lies before `earliest_on`, the day of `what`."""

    def __init__(self, field: str, *, what: str, earliest_on: date) -> None:
        super().__init__(field, what, earliest_on)
        self.field = field
        self.what = what
        self.earliest_on = earliest_on


class GarmentEnded(GarmentError):
    """The garment is no longer in use, so nothing about it changes."""


@dataclass(eq=False)
class ArteriesBar(RuleBroken):
    """An ankle-brachial pressure index so low that the limb must not be compressed."""

    abpi: float
    floor: float
    field = "abpi"


class NoLayers(RuleBroken):
    """A bandaging without a single bandage is not kept."""


class ChartError(RuleBroken):
    """A rule about the clinic's size charts."""

    field = "file"


class ChartNameTaken(ChartError):
    """Another size chart in use has this name."""

    field = "name"


class ChartRefused(ChartError):
    """The file has problems; `report` says which. Nothing was saved."""

    def __init__(self, report: Any) -> None:
        super().__init__(len(report.problems))
        self.report = report


@dataclass(eq=False)
class SpanBackwards(ChartError):
    """The largest girth is below the smallest, both in cm."""

    from_cm: Decimal
    to_cm: Decimal


@dataclass(eq=False)
class SpanRepeated(ChartError):
    """The same size and place stands in an earlier line."""

    first_line: int


@dataclass(eq=False)
class SpanMissing(ChartError):
    """A size lacks a place that another size has."""

    size: str
    place: str


@dataclass(eq=False)
class LevelDiffers(ChartError):
    """A place has another level in an earlier line; None: none was given there."""

    place: str
    level_cm: Decimal | None

"""What a person can mend about programmes. Each error carries data only."""

from datetime import datetime
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
# └── ExerciseNameTaken
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

"""What a person can mend about plans of care and goals. Pure: each error carries data only."""

from datetime import date
from typing import Any

from clinic.common.errors import RuleBroken

# RuleBroken
# ├── TargetIsBaseline          a goal that asks for no change
# ├── ValueAbsurd               a baseline, target or value that no measurement gives
# └── PlanError
#     ├── PlanDraftExists       the episode has a draft already
#     ├── PlanGone              somebody discarded the draft in between
#     ├── PlanChanged           somebody else changed the draft in between
#     ├── PlanKept              a signed plan is never changed
#     ├── PlanDayWrong          a day outside what it must lie in
#     ├── PeriodTooLong         longer than the clinic's certification
#     ├── TooManyGoals
#     ├── TargetMissing         a measured goal without a number to reach
#     ├── NoGoals               signing a plan that aims at nothing
#     ├── GoalUnfit             a goal that cannot be kept as it stands, with its number
#     ├── MayNotSignPlan        a student or an assistant
#     ├── PlanTooLong           does not fit on the page that is signed
#     ├── NotSignedYet          certified or reviewed before it is signed
#     ├── AlreadyCertified
#     ├── AlreadyEnded
#     └── ReasonMissing         a goal dropped without a word why


class TargetIsBaseline(RuleBroken):
    """A goal whose target is where it begins."""

    field = "target"

    def __init__(self, target: float) -> None:
        super().__init__(target)
        self.target = target


class ValueAbsurd(RuleBroken):
    """A baseline, target or value that no measurement gives. Limits in `unit`."""

    def __init__(self, field: str, *, lowest: float, highest: float, unit: str) -> None:
        super().__init__(field, lowest, highest)
        self.field = field
        self.lowest = lowest
        self.highest = highest
        self.unit = unit


class PlanError(RuleBroken):
    """Any broken rule of plans of care."""


class PlanDraftExists(PlanError):
    """The episode has a draft already."""

    def __init__(self, draft: Any) -> None:
        super().__init__(str(draft.pk))
        self.draft = draft


class PlanGone(PlanError):
    """The draft was discarded in between."""


class PlanChanged(PlanError):
    """The draft is no longer what this person had open. Nothing of theirs is kept yet."""


class PlanKept(PlanError):
    """A signed plan is not changed; the next one takes its place."""


class PlanDayWrong(PlanError):
    """A day that cannot be. `must` is a key of the sentences; `limit` the nearest day that can."""

    def __init__(self, field: str, *, must: str, limit: date) -> None:
        super().__init__(field, must, limit)
        self.field = field
        self.must = must
        self.limit = limit


class PeriodTooLong(PlanError):
    """A period of more calendar days than one certification covers."""

    field = "to_on"

    def __init__(self, *, days: int, most_days: int, last_on: date) -> None:
        super().__init__(days, most_days)
        self.days = days
        self.most_days = most_days
        self.last_on = last_on


class TooManyGoals(PlanError):
    """More goals than one page and one therapist can follow."""

    def __init__(self, most: int) -> None:
        super().__init__(most)
        self.most = most


class TargetMissing(PlanError):
    """A measured goal needs a number to reach."""

    field = "target"


class NoGoals(PlanError):
    """A plan without a goal is not signed."""


class GoalUnfit(PlanError):
    """One goal breaks a rule; `place` counts from 0."""

    def __init__(self, place: int, why: RuleBroken) -> None:
        super().__init__(place, *why.args)
        self.place = place
        self.why = why


class MayNotSignPlan(PlanError):
    """A plan of care is signed by a clinician who needs no co-signature."""


class PlanTooLong(PlanError):
    """The printed plan runs past its one page."""

    def __init__(self, pages: int) -> None:
        super().__init__(pages)
        self.pages = pages


class NotSignedYet(PlanError):
    """Only a signed plan is certified, ended or has its goals reviewed."""


class AlreadyCertified(PlanError):
    """The certification was noted before."""

    def __init__(self, *, by: str, on: date) -> None:
        super().__init__(on)
        self.by = by
        self.on = on


class AlreadyEnded(PlanError):
    """The plan was ended before."""

    def __init__(self, on: date) -> None:
        super().__init__(on)
        self.on = on


class ReasonMissing(PlanError):
    """A goal is dropped with a word why."""

    field = "remark"

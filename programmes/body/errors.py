"""What can go wrong with a programme, as data. The sentence is made where it is shown."""

from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Precaution, Word


class WhyNoRoute(Word):
    """Why no programme can be given; the label is the sentence for the clinician."""

    BARRED = "barred", "A precaution bars every manual step."
    UNCLEARED_PRECAUTION = (
        "uncleared_precaution",
        "A precaution must be cleared, with name and date, before any manual step.",
    )
    BLOCKED = "blocked", "No safe route leads from the affected region to a working node basin."
    NEEDS_HELPER = (
        "needs_helper",
        "The only safe route runs over the back, where the client needs a helper.",
    )
    NEEDS_LESSER_ROUTES = (
        "needs_lesser_routes",
        "Only the lesser routes over the collarbones remain; a clinician must switch them on.",
    )
    NOTHING_LEFT = "nothing_left", "Nothing is left to do once the forbidden regions are taken out."


class NoSafeRoute(RuleBroken):
    """No programme may be given for this situation. `regions` are territory ids with no way out."""

    def __init__(
        self,
        why: WhyNoRoute,
        *,
        regions: tuple[str, ...] = (),
        precautions: tuple[Precaution, ...] = (),
    ) -> None:
        super().__init__(why.label)
        self.why = why
        self.regions = regions
        self.precautions = precautions


class SituationUnclear(RuleBroken):
    """The situation contradicts itself; `what` names the entry at fault."""

    def __init__(self, what: str) -> None:
        super().__init__(what)
        self.what = what


class MapBroken(Exception):
    """The territory map breaks its own rules: our fault, found when the map is read."""


class DoseOutOfRange(RuleBroken):
    """A default count lies outside the range that its sources allow (`low` to `high`)."""

    def __init__(self, what: str, *, count: float, low: float, high: float) -> None:
        super().__init__(what)
        self.what = what
        self.count = count
        self.low = low
        self.high = high

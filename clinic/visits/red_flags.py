"""Red flags of a visit: what asks for a look or a call before treatment goes on. Pure.

Prompts, not diagnoses. Deliberately generous: a needless look costs minutes. Whether a limb rose
suddenly is told by `measurements` and not judged again here; what treatment a condition bars is
told by its precaution.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from clinic.common.vocabulary import Limb, Phase, Precaution, Region, RegionSide, Side, Word

# A change beyond measurement error of this share in less than this time, if nothing explains it,
# is rapid; common practice, no source.
RAPID_CHANGE_PERCENT = 5.0
RAPID_CHANGE_DAYS = 28

CAUTION = (
    "This is a prompt and not a diagnosis: your own examination, your licence and the local rules"
    " decide."
)


class RedFlagKind(Word):
    """A reason to stop and look, the most urgent first."""

    EMERGENCY = "emergency", "signs of an emergency"
    INFECTION = "infection", "signs of infection"
    CLOT = "clot", "signs of a clot"
    SUDDEN_RISE = "sudden_rise", "sudden increase"
    NEW_LUMP = "new_lump", "new lump or change of skin"
    NEW_REGION = "new_region", "new swelling elsewhere"
    RAPID_CHANGE = "rapid_change", "rapid change without explanation"

    @property
    def prompt(self) -> str:
        """What to do now, in one sentence."""
        return PROMPTS[self]

    @property
    def urgency(self) -> "Urgency":
        return URGENCIES[self]

    @property
    def precaution(self) -> Precaution | None:
        """The precaution to record if the suspicion stands; it bars what it bars."""
        return PRECAUTIONS.get(self)


class Urgency(Word):
    """How soon the referrer should hear of it; `.label` is the contact suggested.

    Phone first and letter second in all but the last; common practice, no source.
    """

    NOW = "now", "Call the emergency number now; tell the referrer afterwards."
    TODAY = "today", "Phone the referrer today, before the client leaves, and write afterwards."
    THIS_WEEK = "this_week", "Tell the referrer within the week, by phone or letter."


# Prompts, urgencies and the signs below: common practice, no source, except that drainage stops
# in acute infection while compression may stay: Lymphoedema Framework, Best Practice for the
# Management of Lymphoedema, 2006, box 18.
PROMPTS = {
    RedFlagKind.EMERGENCY: (
        "Stop treatment and get emergency help: think of a clot in the lung, a stroke or blood"
        " poisoning."
    ),
    RedFlagKind.INFECTION: (
        "Stop manual drainage until the client has been examined and treated: think of cellulitis."
    ),
    RedFlagKind.CLOT: (
        "Stop manual treatment of the limb until a physician has examined it: think of a vein clot."
    ),
    RedFlagKind.SUDDEN_RISE: (
        "Tape again, and if it stands have the limb examined today: think of infection, clot and"
        " recurrence."
    ),
    RedFlagKind.NEW_LUMP: (
        "Leave the area out and have it examined: think of recurrence and of a wound that needs"
        " care."
    ),
    RedFlagKind.NEW_REGION: (
        "Have the new swelling examined before it is treated: it does not follow from the known"
        " cause."
    ),
    RedFlagKind.RAPID_CHANGE: (
        "Tape again and ask about weight, medicines, garment and general health: nothing on record"
        " explains the change."
    ),
}
URGENCIES = {
    RedFlagKind.EMERGENCY: Urgency.NOW,
    RedFlagKind.INFECTION: Urgency.TODAY,
    RedFlagKind.CLOT: Urgency.TODAY,
    RedFlagKind.SUDDEN_RISE: Urgency.TODAY,
    RedFlagKind.NEW_LUMP: Urgency.TODAY,
    RedFlagKind.NEW_REGION: Urgency.TODAY,
    RedFlagKind.RAPID_CHANGE: Urgency.THIS_WEEK,
}
PRECAUTIONS = {
    RedFlagKind.INFECTION: Precaution.UNTREATED_INFECTION,
    RedFlagKind.CLOT: Precaution.ACUTE_CLOT,
    RedFlagKind.SUDDEN_RISE: Precaution.UNEXPLAINED_SWELLING,
    RedFlagKind.NEW_REGION: Precaution.UNEXPLAINED_SWELLING,
}


class Sign(Word):
    """What is asked and looked for at a visit; one alone raises its flag."""

    CHEST_PAIN = "chest_pain", "chest pain"
    BREATHLESS = "breathless", "breathlessness"
    COUGHING_BLOOD = "coughing_blood", "coughing blood"
    ONE_SIDED_WEAKNESS = "one_sided_weakness", "weakness of one side of the body"
    SHAKING_CONFUSED = "shaking_confused", "shaking, confusion or vomiting"
    REDNESS = "redness", "new redness or a rash"
    WARMTH = "warmth", "warmer than the other side"
    RED_STREAKS = "red_streaks", "red streaks"
    SPREADING_PAIN = "spreading_pain", "spreading pain or tenderness"
    FEVER = "fever", "fever, chills or a flu-like feeling"
    ONE_SIDED_PAIN = "one_sided_pain", "sudden pain in one calf, thigh or arm"
    TIGHT_SWELLING = "tight_swelling", "new tight swelling of one limb"
    BLUE_LIMB = "blue_limb", "a blue limb or newly swollen veins"
    LUMP = "lump", "a new lump"
    LEAK_OR_WOUND = "leak_or_wound", "a new leak of fluid or a wound"

    @property
    def kind(self) -> RedFlagKind:
        """The flag that it raises."""
        return next(kind for kind, signs in SIGNS_OF.items() if self in signs)


SIGNS_OF = {
    RedFlagKind.EMERGENCY: (
        Sign.CHEST_PAIN,
        Sign.BREATHLESS,
        Sign.COUGHING_BLOOD,
        Sign.ONE_SIDED_WEAKNESS,
        Sign.SHAKING_CONFUSED,
    ),
    RedFlagKind.INFECTION: (
        Sign.REDNESS,
        Sign.WARMTH,
        Sign.RED_STREAKS,
        Sign.SPREADING_PAIN,
        Sign.FEVER,
    ),
    RedFlagKind.CLOT: (Sign.ONE_SIDED_PAIN, Sign.TIGHT_SWELLING, Sign.BLUE_LIMB),
    RedFlagKind.NEW_LUMP: (Sign.LUMP, Sign.LEAK_OR_WOUND),
}


@dataclass(frozen=True, slots=True)
class LimbShift:
    """How one limb moved since an earlier session, as `measurements` judged it.

    Change in mL and percent of the earlier volume; `error_ml` is one standard error of it.
    `rose_suddenly` is the verdict of the session's report.
    """

    limb: Limb
    side: Side
    change_ml: float
    change_percent: float
    error_ml: float
    days_between: int
    is_beyond_error: bool
    rose_suddenly: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """A region of the body and its side."""

    region: Region
    side: RegionSide

    @property
    def label(self) -> str:
        if self.side is RegionSide.MIDLINE:
            return self.region.label
        return f"{self.side.label} {self.region.label}"


@dataclass(frozen=True, slots=True)
class VisitSigns:
    """All that the red flags of one visit rest on.

    `known` are the places the episode treats or watches, `swollen` those found swollen now.
    `is_explained` tells that the therapist named a cause of the limb's change; `both_rose` that
    the session's report found both limbs risen.
    """

    phase: Phase
    signs: frozenset[Sign] = frozenset()
    shifts: tuple[LimbShift, ...] = ()
    known: frozenset[Place] = frozenset()
    swollen: frozenset[Place] = frozenset()
    is_explained: bool = False
    both_rose: bool = False


@dataclass(frozen=True, slots=True)
class RedFlag:
    """One reason to stop and look, with everything it rests on in plain words."""

    kind: RedFlagKind
    because: tuple[str, ...]

    @property
    def prompt(self) -> str:
        return self.kind.prompt

    @property
    def contact(self) -> str:
        """The contact to the referrer that is suggested."""
        return self.kind.urgency.label

    @property
    def caution(self) -> str:
        return CAUTION


def red_flags(seen: VisitSigns) -> tuple[RedFlag, ...]:
    """Every flag of a visit, one of each kind at most, the most urgent first."""
    because: dict[RedFlagKind, list[str]] = {}
    for kind, reason in _every(seen):
        because.setdefault(kind, []).append(reason)
    return tuple(RedFlag(kind, tuple(because[kind])) for kind in RedFlagKind if kind in because)


def _every(seen: VisitSigns) -> Iterator[tuple[RedFlagKind, str]]:
    yield from ((sign.kind, sign.label) for sign in Sign if sign in seen.signs)
    yield from (
        (RedFlagKind.SUDDEN_RISE, _told(each)) for each in seen.shifts if each.rose_suddenly
    )
    yield from ((RedFlagKind.NEW_REGION, place.label) for place in new_places(seen))
    if not seen.is_explained:
        yield from _rapid(seen)


def _rapid(seen: VisitSigns) -> Iterator[tuple[RedFlagKind, str]]:
    """Changes that neither the treatment nor the therapist explains."""
    for shift in seen.shifts:
        if is_rapid(shift) and not shift.rose_suddenly and not _is_wanted(shift, seen.phase):
            yield RedFlagKind.RAPID_CHANGE, _told(shift)
    if seen.both_rose:
        yield RedFlagKind.RAPID_CHANGE, "both limbs rose: think of a cause in the whole body"


def is_rapid(shift: LimbShift) -> bool:
    """Whether a change is beyond measurement error, large and quick, up or down."""
    is_large = abs(shift.change_percent) >= RAPID_CHANGE_PERCENT
    return shift.is_beyond_error and is_large and shift.days_between < RAPID_CHANGE_DAYS


def _is_wanted(shift: LimbShift, phase: Phase) -> bool:
    """An intensive phase is meant to bring a limb down fast."""
    return phase is Phase.INTENSIVE and shift.change_ml < 0


# Regions that drain to the same node basins, so that swelling may pass from one to another without
# a new cause: usual anatomy of the lymphatic watersheds, from memory, not re-read.
DRAIN_TOGETHER = (
    frozenset({Region.ARM, Region.BREAST, Region.TRUNK_UPPER}),
    frozenset({Region.LEG, Region.TRUNK_LOWER, Region.GENITAL}),
    frozenset({Region.HEAD_NECK}),
)


def new_places(seen: VisitSigns) -> tuple[Place, ...]:
    """Swollen places that neither are known nor drain together with a known one on their side."""
    unrelated = (
        place
        for place in seen.swollen
        if not any(_are_related(place, known) for known in seen.known)
    )
    return tuple(sorted(unrelated, key=_in_order))


def _are_related(one: Place, other: Place) -> bool:
    drains_together = any({one.region, other.region} <= regions for regions in DRAIN_TOGETHER)
    is_midline = RegionSide.MIDLINE in {one.side, other.side}
    return drains_together and (one.side is other.side or is_midline)


def _in_order(place: Place) -> tuple[int, int]:
    return list(Region).index(place.region), list(RegionSide).index(place.side)


def _told(shift: LimbShift) -> str:
    """As in "right arm rose by 12 % (240 mL, standard error 40 mL) in 6 days"."""
    verb = "rose" if shift.change_ml > 0 else "fell"
    days = "1 day" if shift.days_between == 1 else f"{shift.days_between} days"
    return (
        f"{shift.side.label} {shift.limb.label} {verb} by {abs(shift.change_percent):.0f} %"
        f" ({abs(shift.change_ml):.0f} mL, standard error {shift.error_ml:.0f} mL) in {days}"
    )

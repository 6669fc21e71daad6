"""What garments are called, and what the schedule of wear says about them."""

from collections.abc import Iterable
from dataclasses import dataclass

from clinic.common.vocabulary import RegionSide, Word


class BodyPart(Word):
    """What a garment or bandage covers."""

    ARM = "arm", "arm"
    HAND = "hand", "hand"
    ARM_HAND = "arm_hand", "arm and hand"
    LOWER_LEG = "lower_leg", "leg below the knee"
    LEG = "leg", "whole leg"
    TOES = "toes", "toes"
    BOTH_LEGS = "both_legs", "both legs and hips"
    BREAST = "breast", "breast"
    TRUNK = "trunk", "trunk"
    GENITAL = "genital", "genital"
    HEAD_NECK = "head_neck", "head and neck"


# What lies on both sides or in the middle of the body.
MIDLINE_PARTS = (
    BodyPart.BOTH_LEGS,
    BodyPart.BREAST,
    BodyPart.TRUNK,
    BodyPart.GENITAL,
    BodyPart.HEAD_NECK,
)


class WornBy(Word):
    """When a garment is worn."""

    DAY = "day", "by day"
    NIGHT = "night", "at night"


class Make(Word):
    READY_MADE = "ready_made", "ready made"
    MADE_TO_MEASURE = "made_to_measure", "made to measure"


class FitSeen(Word):
    """What was seen when the garment was worn."""

    FITS = "fits", "fits"
    ALTER = "alter", "needs altering"
    WRONG = "wrong", "does not fit"
    WORN_OUT = "worn_out", "worn out"


class EndReason(Word):
    REPLACED = "replaced", "replaced"
    WORN_OUT = "worn_out", "worn out or torn"
    SIZE_CHANGED = "size_changed", "the limb's size changed"
    LOST = "lost", "lost"
    NOT_TOLERATED = "not_tolerated", "not tolerated"
    NOT_ISSUED = "not_issued", "ordered, never issued"
    OTHER = "other", "other"


# What a client calls a garment.
PLAIN_GARMENT = {
    BodyPart.ARM: "sleeve",
    BodyPart.HAND: "glove",
    BodyPart.ARM_HAND: "sleeve with hand part",
    BodyPart.LOWER_LEG: "knee sock",
    BodyPart.LEG: "stocking",
    BodyPart.TOES: "toe cap",
    BodyPart.BOTH_LEGS: "tights",
    BodyPart.BREAST: "bra",
    BodyPart.TRUNK: "vest",
    BodyPart.GENITAL: "pouch",
    BodyPart.HEAD_NECK: "head and neck garment",
}


@dataclass(frozen=True)
class Worn:
    """A garment as the schedule of wear needs it."""

    part: BodyPart
    side: RegionSide
    worn_by: WornBy
    class_name: str = ""

    @property
    def plain(self) -> str:
        """ "right sleeve (class 2)"."""
        side = "" if self.side is RegionSide.MIDLINE else f"{self.side.label} "
        name = f" (class {self.class_name})" if self.class_name else ""
        return f"{side}{PLAIN_GARMENT[self.part]}{name}"


# Day garments on in the morning, off at night: from memory (ISL consensus), not re-read. Wash and
# swap: common practice.
BY_DAY = "By day: put on your {garments} in the morning. Take off at night."
AT_NIGHT = "At night: wear your {garments} in bed."
CARE = "Wear day garments for your exercises. Wash them each day."


def wear_words(garments: Iterable[Worn]) -> str:
    """The schedule of wear in a client's words; empty without a garment."""
    worn = list(garments)
    day = _listed(each for each in worn if each.worn_by is WornBy.DAY)
    night = _listed(each for each in worn if each.worn_by is WornBy.NIGHT)
    lines = []
    if day:
        lines.append(BY_DAY.format(garments=day))
    if night:
        lines.append(AT_NIGHT.format(garments=night))
    if day:
        lines.append(CARE)
    return "\n".join(lines)


def _listed(garments: Iterable[Worn]) -> str:
    """ "right sleeve and right glove", each once."""
    named = list(dict.fromkeys(each.plain for each in garments))
    return " and ".join(filter(None, [", ".join(named[:-1]), *named[-1:]]))

"""Every outcome instrument as data: range, unit, direction, scoring rule, smallest change, source.

Copyrighted item wording is not here: numbers of items and scores only. Where no smallest change
is known there is none: `Limits` stays empty and the verdict says so.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from clinic.common.vocabulary import Side, Word
from measurements.limb import outcome
from measurements.limb.error import mdc95
from measurements.limb.outcome import ItemRule
from measurements.limb.score_errors import PlaceUnknown, ScoreOutOfRange, ScoreTooFine
from measurements.limb.thresholds import Mark


class Instrument(Word):
    PAIN = "pain", "pain, 0 to 10"
    FUNCTION = "function", "patient-specific function"
    DASH = "dash", "arm disability, 30 items (DASH)"
    QUICKDASH = "quickdash", "arm disability, 11 items (QuickDASH)"
    LLIS_1 = "llis_1", "lymphedema impact, version 1 (LLIS)"
    LLIS_2 = "llis_2", "lymphedema impact, version 2 (LLIS)"
    SHOULDER = "shoulder", "shoulder range of motion"
    GRIP = "grip", "grip strength"
    IMPEDANCE = "impedance", "bioimpedance ratio"
    TISSUE_WATER = "tissue_water", "local tissue water ratio"
    DISPLACED = "displaced", "displaced volume"


class Part(Word):
    """What of an instrument a score is of: a movement, a site, a part of the limb."""

    MEAN = "mean", "mean of now, usual and worst"
    NOW = "now", "now"
    FLEXION = "flexion", "flexion"
    EXTENSION = "extension", "extension"
    ABDUCTION = "abduction", "abduction"
    EXTERNAL_ROTATION = "external", "external rotation"
    INTERNAL_ROTATION = "internal", "internal rotation"
    ARM = "arm", "arm"
    LEG = "leg", "leg"
    HAND = "hand", "hand"
    FOOT = "foot", "foot"
    FOREARM = "forearm", "forearm"
    UPPER_ARM = "upper_arm", "upper arm"


class Entry(Word):
    """How an instrument is typed in."""

    RATINGS = "ratings", "pain now, or now, usual and worst"
    ACTIVITIES = "activities", "activities in the client's words"
    ANSWERS = "answers", "answers by item number, or the score"
    TOTAL = "total", "the score"
    GRID = "grid", "one number for each part and side"
    TRIALS = "trials", "three trials of each side"


@dataclass(frozen=True)
class Limit:
    """A smallest change in the instrument's unit, or in percent of the baseline."""

    value: float
    source: str
    mark: Mark = Mark.SEEN
    is_percent: bool = False

    def at(self, baseline: float) -> float:
        """The change in the instrument's unit, for a baseline in that unit."""
        return baseline * self.value / 100 if self.is_percent else self.value


@dataclass(frozen=True)
class Limits:
    """Smallest change that matters, and smallest beyond measurement error; None: none known."""

    matters: Limit | None = None
    beyond_error: Limit | None = None


@dataclass(frozen=True, kw_only=True)
class InstrumentSpec:
    """One instrument. `limits` and `highest_of` by part; None stands for every other part."""

    instrument: Instrument
    entry: Entry
    highest: float
    higher_is_better: bool
    rule: str
    source: str
    mark: Mark = Mark.SEEN
    unit: str = ""
    lowest: float = 0.0
    decimals: int = 0
    shown_decimals: int = 1
    parts: tuple[Part, ...] = ()
    is_per_side: bool = False
    items: ItemRule | None = None
    highest_of: Mapping[Part | None, float] = field(default_factory=dict)
    limits: Mapping[Part | None, Limits] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def highest_for(self, part: Part | None) -> float:
        return self.highest_of.get(part, self.highest)

    def limits_for(self, part: Part | None) -> Limits:
        return self.limits.get(part) or self.limits.get(None) or Limits()


# Small change of a 0-10 pain rating, the first of three levels (1.5 to 3.5) and of PSFS (1.3, 2.3,
# 2.7): JOSPT 2014;44:560-564, n = 1708.
PAIN_SMALL_CHANGE, FUNCTION_SMALL_CHANGE = 1.5, 1.3

# Smallest detectable change of DASH in shoulder pain, n = 50: BMC Musculoskelet Disord 2017;18:248.
DASH_SDC = 11.8

# QuickDASH, upper end of "about 11 to 13": from memory, not re-read.
QUICKDASH_MDC = 13.0

# Goniometer, degrees, upper end of "about 5 to 10": from memory, not re-read.
GONIOMETER_ERROR_DEG = 10.0

# Grip, kg, upper end of "about 5 to 6.5" (Bohannon 2019): from memory, not re-read.
GRIP_MCID_KG = 6.5

# Water displacement of wrist and hand, one standard error, mL, n = 15: de Carvalho et al., Phys
# Ther; of the arm, percent, pooled: Hidding et al., Phys Ther 2016;96:1965-1981.
HAND_WATER_SEM_ML, ARM_WATER_SEM_PERCENT = 3.0, 3.6

# Usual movement of an adult shoulder, degrees (AAOS): from memory, not re-read; others print 50 for
# extension and 90 for internal rotation.
USUAL_DEG = {
    Part.FLEXION: 180.0,
    Part.EXTENSION: 60.0,
    Part.ABDUCTION: 180.0,
    Part.EXTERNAL_ROTATION: 90.0,
    Part.INTERNAL_ROTATION: 70.0,
}

# More than any shoulder, grip, ratio or limb gives: a slip of the keyboard. Common practice, no
# source.
MOST_BEYOND_USUAL_DEG = 40
GRIP_MOST_KG, RATIO_LEAST, RATIO_MOST, DISPLACED_MOST_ML = 120.0, 0.3, 5.0, 30_000.0
SHOULDER_MOST_DEG: dict[Part | None, float] = {
    part: usual + MOST_BEYOND_USUAL_DEG for part, usual in USUAL_DEG.items()
}
DISPLACED_MOST_OF: dict[Part | None, float] = {
    Part.HAND: 2_000.0,
    Part.FOOT: 4_000.0,
    Part.ARM: 15_000.0,
}

LICENCE = (
    "The questionnaire is copyrighted and its questions are not kept here, only item numbers and"
    " scores. Commercial electronic use needs a licence (from memory, not re-read)."
)
ONE_WAY = (
    "The questionnaire is copyrighted: only its score is kept. Work the score out as its own form"
    " says, each time the same way."
)
MICHENER = "Michener et al., J Sport Rehabil 2011;20:115-128 (shoulder care, n = 136)"
ABBOTT = "JOSPT 2014;44:560-564 (n = 1708), the smallest of three levels"
STRATFORD = "Stratford et al. 1995, as printed on a clinic form; 90 % level"
GUMMESSON_2006 = "Gummesson et al., BMC Musculoskelet Disord 2006;7:44"
GUMMESSON_2003 = "Gummesson et al., BMC Musculoskelet Disord 2003;4:11"
HIDDING = "Hidding et al., Phys Ther 2016;96:1965-1981, 1.96 × √2 × 3.6 %"
CARVALHO = "de Carvalho et al., Phys Ther, 1.96 × √2 × 3 mL"
MEMORY = Mark.MEMORY


def _llis(instrument: Instrument, limits: outcome.ChangeLimits, source: str) -> InstrumentSpec:
    return InstrumentSpec(
        instrument=instrument,
        entry=Entry.TOTAL,
        highest=100,
        higher_is_better=False,
        decimals=2,
        rule="The score as the questionnaire's own form works it out; higher is worse"
        " (direction from memory, not re-read).",
        source=source,
        limits={None: Limits(Limit(limits.mcid, source), Limit(limits.mdc95, source))},
        notes=(
            ONE_WAY,
            "A change between the two limits may matter, but in one person cannot be told from"
            " measurement error.",
        ),
    )


ALL_SPECS = (
    InstrumentSpec(
        instrument=Instrument.PAIN,
        entry=Entry.RATINGS,
        highest=10,
        higher_is_better=False,
        parts=(Part.MEAN, Part.NOW),
        rule="0 no pain, 10 the worst imaginable. Pain now alone, or the mean of now, usual and"
        " worst; the two are never compared with each other.",
        source=MICHENER,
        limits={
            Part.MEAN: Limits(Limit(outcome.PAIN_MCID_SHOULDER, MICHENER)),
            Part.NOW: Limits(Limit(PAIN_SMALL_CHANGE, ABBOTT)),
        },
        notes=(
            "Lymphedema is usually painless: marked pain suggests another cause and is for the"
            " licensed clinician to judge.",
        ),
    ),
    InstrumentSpec(
        instrument=Instrument.FUNCTION,
        entry=Entry.ACTIVITIES,
        highest=10,
        higher_is_better=True,
        rule="Three to five activities in the client's words, each 0 (unable) to 10 (able); the"
        " score is their mean. Compared only over the same activities.",
        source=STRATFORD,
        limits={
            None: Limits(
                Limit(FUNCTION_SMALL_CHANGE, ABBOTT), Limit(outcome.PSFS_MDC90_MEAN, STRATFORD)
            )
        },
        notes=("A single activity changes beyond error from 3 points on (90 % level).",),
    ),
    InstrumentSpec(
        instrument=Instrument.DASH,
        entry=Entry.ANSWERS,
        highest=100,
        higher_is_better=False,
        decimals=2,
        items=outcome.DASH_RULE,
        rule="((sum ÷ answered) − 1) × 25; at least 27 of 30 answered, 1 to 5 each.",
        source=GUMMESSON_2003,
        limits={
            None: Limits(
                Limit(outcome.DASH_MCID, GUMMESSON_2003),
                Limit(DASH_SDC, "BMC Musculoskelet Disord 2017;18:248 (shoulder pain, n = 50)"),
            )
        },
        notes=(LICENCE,),
    ),
    InstrumentSpec(
        instrument=Instrument.QUICKDASH,
        entry=Entry.ANSWERS,
        highest=100,
        higher_is_better=False,
        decimals=2,
        items=outcome.QUICKDASH_RULE,
        rule="((sum ÷ answered) − 1) × 25; at least 10 of 11 answered, 1 to 5 each.",
        source=GUMMESSON_2006,
        limits={
            None: Limits(
                Limit(outcome.QUICKDASH_MCID, GUMMESSON_2006),
                Limit(QUICKDASH_MDC, "upper end of about 11 to 13", MEMORY),
            )
        },
        notes=(LICENCE,),
    ),
    _llis(Instrument.LLIS_1, outcome.LLIS_V1, "Lymphology 2015, lymph/18791"),
    _llis(Instrument.LLIS_2, outcome.LLIS_V2, "Rehabil Oncol 2018;36:28-36"),
    InstrumentSpec(
        instrument=Instrument.SHOULDER,
        entry=Entry.GRID,
        unit="°",
        shown_decimals=0,
        highest=max(SHOULDER_MOST_DEG.values()),
        highest_of=SHOULDER_MOST_DEG,
        higher_is_better=True,
        parts=tuple(USUAL_DEG),
        is_per_side=True,
        rule="Degrees of each movement, from the same starting position each time; compare with"
        " the other side.",
        source="AAOS convention",
        mark=MEMORY,
        limits={
            None: Limits(
                None, Limit(GONIOMETER_ERROR_DEG, "goniometer error of about 5 to 10°", MEMORY)
            )
        },
        notes=(
            "Usual in adults: flexion and abduction 180°, extension 60°, external rotation 90°,"
            " internal rotation 70°; others print 50° and 90° (from memory, not re-read).",
        ),
    ),
    InstrumentSpec(
        instrument=Instrument.GRIP,
        entry=Entry.TRIALS,
        unit="kg",
        highest=GRIP_MOST_KG,
        decimals=1,
        higher_is_better=True,
        is_per_side=True,
        rule="Mean of three trials of one hand, kg; all three are needed.",
        source="mean of three trials",
        mark=MEMORY,
        limits={
            None: Limits(Limit(GRIP_MCID_KG, "Bohannon 2019, upper end of 5 to 6.5 kg", MEMORY))
        },
        notes=(
            "Weakness below 27 kg in men and 16 kg in women (EWGSOP2 2019, from memory, not"
            " re-read); use tables by age and sex rather than one limit.",
        ),
    ),
    InstrumentSpec(
        instrument=Instrument.IMPEDANCE,
        entry=Entry.GRID,
        lowest=RATIO_LEAST,
        highest=RATIO_MOST,
        decimals=3,
        shown_decimals=3,
        higher_is_better=False,
        parts=(Part.ARM, Part.LEG),
        is_per_side=True,
        rule="Impedance of the other limb ÷ that of the limb at risk, on the side at risk.",
        source="DOI 10.1089/lrb.2010.0014",
        notes=(
            "No smallest change is known. Healthy people's ratios change by 7.2 to 14.7 % over time"
            " (Steele et al., n = 808).",
            "Not for people with a cardiac pacemaker (from memory, not re-read): follow the"
            " device's instructions and local rules.",
        ),
    ),
    InstrumentSpec(
        instrument=Instrument.TISSUE_WATER,
        entry=Entry.GRID,
        lowest=RATIO_LEAST,
        highest=RATIO_MOST,
        decimals=3,
        shown_decimals=2,
        higher_is_better=False,
        parts=(Part.HAND, Part.FOREARM, Part.UPPER_ARM),
        is_per_side=True,
        rule="Reading of the affected or at-risk side ÷ that of the other, same site, same depth.",
        source="Mayrovitz et al., Lymphology 2014;47:142-150",
        notes=(
            "No smallest change is known. Sources differ on the limit: 1.2 is proposed where mean"
            " + 3 SD is 1.244.",
        ),
    ),
    InstrumentSpec(
        instrument=Instrument.DISPLACED,
        entry=Entry.GRID,
        unit="mL",
        lowest=1,
        highest=DISPLACED_MOST_ML,
        highest_of=DISPLACED_MOST_OF,
        shown_decimals=0,
        higher_is_better=False,
        parts=(Part.HAND, Part.ARM, Part.FOOT, Part.LEG),
        is_per_side=True,
        rule="Water displaced by the part, mL, to the same mark each time.",
        source="Megens et al., Arch Phys Med Rehabil 2001;82:1639-1644",
        limits={
            Part.HAND: Limits(None, Limit(mdc95(HAND_WATER_SEM_ML), CARVALHO)),
            Part.ARM: Limits(None, Limit(mdc95(ARM_WATER_SEM_PERCENT), HIDDING, is_percent=True)),
        },
        notes=(
            "Never compare it with a volume from girths: summed cones of the arm differed from"
            " water by −40 mL on average, with limits of agreement of ± 234 mL around that (n = 25,"
            " Megens 2001: not interchangeable).",
            "No smallest change is known for foot and leg.",
        ),
    ),
)

SPECS: dict[Instrument, InstrumentSpec] = {spec.instrument: spec for spec in ALL_SPECS}


def check_score(
    spec: InstrumentSpec, score: float, *, side: Side | None, part: Part | None
) -> None:
    """Raise PlaceUnknown or ScoreOutOfRange; `score` in the instrument's unit."""
    needs_part = bool(spec.parts)
    if (side is not None) != spec.is_per_side or (part is not None) != needs_part:
        raise PlaceUnknown(spec.instrument)
    if part is not None and part not in spec.parts:
        raise PlaceUnknown(spec.instrument)
    check_range(spec, score, part=part)


def check_range(spec: InstrumentSpec, score: float, *, part: Part | None) -> None:
    """Raise ScoreOutOfRange; `score` in the instrument's unit."""
    highest = spec.highest_for(part)
    if not spec.lowest <= score <= highest:
        raise ScoreOutOfRange(score, spec.lowest, highest, spec.unit)


def check_decimals(spec: InstrumentSpec, score: float) -> None:
    """Raise ScoreTooFine where a typed number is finer than the instrument."""
    if abs(score - round(score, spec.decimals)) > 1e-9:
        raise ScoreTooFine(score, spec.decimals)

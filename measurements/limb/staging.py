"""The ISL stage that findings suggest. A stage is clinical: no volume enters here.

Source of the findings behind each stage: ISL consensus as given at lymphaticnetwork.org
(stages 0 to III) and Ann Phlebol 20:58 (late II). The order in which the findings are weighed
is common practice, no source. A suggestion, never a diagnosis: the licensed therapist confirms
or overrides it.
"""

from dataclasses import dataclass

from clinic.common.vocabulary import Stage, Word


class Pitting(Word):
    """Depth scale of one common variant: about 2 mm, 3-4 mm, 5-6 mm, 8 mm or more.

    A convention without one standard owner; other pages print 2, 4, 6, 8 mm.
    """

    NONE = "none", "none"
    ONE = "1+", "1+ (about 2 mm)"
    TWO = "2+", "2+ (3 to 4 mm)"
    THREE = "3+", "3+ (5 to 6 mm)"
    FOUR = "4+", "4+ (8 mm or more)"
    NOT_TESTED = "not_tested", "not tested"


class Elevation(Word):
    """Whether the swelling goes down when the limb is raised."""

    YES = "yes", "goes down"
    PARTLY = "partly", "goes down partly"
    NO = "no", "does not go down"
    NOT_TESTED = "not_tested", "not tested"


class Stemmer(Word):
    """Whether a skin fold can be lifted at the base of the second toe or finger."""

    NEGATIVE = "negative", "negative (fold can be lifted)"
    POSITIVE = "positive", "positive (fold cannot be lifted)"
    NOT_TESTED = "not_tested", "not tested"


class Fibrosis(Word):
    NONE = "none", "none"
    MILD = "mild", "mild"
    MARKED = "marked", "marked"
    NOT_TESTED = "not_tested", "not tested"


class SkinChange(Word):
    THICKENING = "thickening", "thickened skin"
    PAPILLOMAS = "papillomas", "papillomas or warty growth"
    FAT = "fat", "fat deposits"
    HYPERKERATOSIS = "hyperkeratosis", "hyperkeratosis"
    LEAKING = "leaking", "leaking lymph"
    COLOUR = "colour", "change of colour"


class Symptom(Word):
    HEAVINESS = "heaviness", "heaviness"
    TIGHTNESS = "tightness", "tightness"
    ACHING = "aching", "aching"
    NUMBNESS = "numbness", "numbness or tingling"
    STIFFNESS = "stiffness", "stiffness"
    PAIN = "pain", "pain"


# Skin changes that by themselves belong to stage III: lymphaticnetwork.org, stage III.
WARTY = frozenset({SkinChange.PAPILLOMAS, SkinChange.HYPERKERATOSIS})

PITS = frozenset({Pitting.ONE, Pitting.TWO, Pitting.THREE, Pitting.FOUR})


@dataclass(frozen=True)
class Findings:
    """What was seen and felt on one limb on one day."""

    swelling_visible: bool
    pitting: Pitting = Pitting.NOT_TESTED
    elevation: Elevation = Elevation.NOT_TESTED
    stemmer: Stemmer = Stemmer.NOT_TESTED
    fibrosis: Fibrosis = Fibrosis.NOT_TESTED
    skin_changes: frozenset[SkinChange] = frozenset()
    symptoms: frozenset[Symptom] = frozenset()


@dataclass(frozen=True)
class StageSuggestion:
    """A stage, the findings in words that led to it, and what was not tested but would matter.

    `stage` is None when the findings do not decide; `missing` then says what would.
    """

    stage: Stage | None
    because: tuple[str, ...]
    missing: tuple[str, ...]


def suggest_stage(findings: Findings) -> StageSuggestion:
    """The highest ISL stage whose findings are there. Never from a volume. Source: see above."""
    because: tuple[str, ...] = ()
    for stage, reasons in (
        (Stage.III, _reasons_for_three),
        (Stage.LATE_II, _reasons_for_late_two),
        (Stage.II, _reasons_for_two),
        (Stage.I, _reasons_for_one),
        (Stage.ZERO, _reasons_for_zero),
    ):
        if because := reasons(findings):
            return StageSuggestion(stage, because, _untested(findings))
    because = ("swelling is present, but its response to elevation decides between I and II",)
    return StageSuggestion(None, because, _untested(findings))


def _is_swollen(findings: Findings) -> bool:
    """Seen, pitting under the thumb, or felt as a fold that cannot be lifted."""
    return (
        findings.swelling_visible
        or findings.pitting in PITS
        or findings.stemmer is Stemmer.POSITIVE
    )


def _reasons_for_three(findings: Findings) -> tuple[str, ...]:
    found = [change.label for change in SkinChange if change in findings.skin_changes & WARTY]
    if SkinChange.THICKENING in findings.skin_changes and findings.fibrosis is Fibrosis.MARKED:
        found.append("thickened skin with marked fibrosis")
    return tuple(found)


def _reasons_for_late_two(findings: Findings) -> tuple[str, ...]:
    """Pitting fades as fat and fibrosis build up."""
    if not _is_swollen(findings):
        return ()
    if findings.fibrosis is Fibrosis.MARKED:
        return (*_swelling_signs(findings), "marked fibrosis")
    builds_up = _fat_or_fibrosis(findings)
    stays_up = findings.elevation is not Elevation.YES
    if findings.pitting is Pitting.NONE and builds_up and stays_up:
        return (*_swelling_signs(findings), "no pitting", *builds_up)
    return ()


def _reasons_for_two(findings: Findings) -> tuple[str, ...]:
    """Elevation alone rarely reduces it; firm or fatty tissue does not drain by gravity."""
    if not _is_swollen(findings):
        return ()
    stays = {
        Elevation.NO: "elevation does not reduce it",
        Elevation.PARTLY: "elevation reduces it only partly",
    }
    found = [stays[findings.elevation]] if findings.elevation in stays else []
    found += _fat_or_fibrosis(findings)
    return (*_swelling_signs(findings), *found) if found else ()


def _reasons_for_one(findings: Findings) -> tuple[str, ...]:
    if _is_swollen(findings) and findings.elevation is Elevation.YES:
        return (*_swelling_signs(findings), "elevation reduces it")
    return ()


def _reasons_for_zero(findings: Findings) -> tuple[str, ...]:
    if _is_swollen(findings):
        return ()
    reported = tuple(symptom.label for symptom in Symptom if symptom in findings.symptoms)
    return ("no swelling seen or felt", *(f"reported: {label}" for label in reported))


def _swelling_signs(findings: Findings) -> tuple[str, ...]:
    signs = {
        "swelling can be seen": findings.swelling_visible,
        f"pitting {findings.pitting.value}": findings.pitting in PITS,
        "Stemmer sign positive": findings.stemmer is Stemmer.POSITIVE,
    }
    return tuple(words for words, is_there in signs.items() if is_there)


def _fat_or_fibrosis(findings: Findings) -> list[str]:
    found = []
    if findings.fibrosis in {Fibrosis.MILD, Fibrosis.MARKED}:
        found.append(f"{findings.fibrosis.label} fibrosis")
    found += [
        change.label
        for change in (SkinChange.FAT, SkinChange.THICKENING)
        if change in findings.skin_changes
    ]
    return found


def _untested(findings: Findings) -> tuple[str, ...]:
    tests: dict[str, Word] = {
        "response to elevation": findings.elevation,
        "pitting": findings.pitting,
        "Stemmer sign": findings.stemmer,
        "fibrosis": findings.fibrosis,
    }
    return tuple(name for name, answer in tests.items() if answer == "not_tested")

"""Effects of precautions against the tables of the care page, sections 2.1 to 2.4."""

import pytest

from clinic.common.vocabulary import Precaution as P
from programmes.body.precautions import EFFECTS, Block, Level, effects_of

# Care page 2.1 to 2.3, copied by hand: word -> (level A, R or L, what it blocks).
# ALL every manual step, NECK, ABD deep belly pressure, ABD-S belly skin, LIMB, COMP compression.
# Sources: BP06, WOOD and a therapists' list for the rows marked seen there; the rest from memory or
# common practice, as marked beside each effect.
CARE_PAGE = {
    P.UNTREATED_INFECTION: ("A", "ALL"),
    P.ACUTE_CLOT: ("A", "ALL LIMB"),
    P.HEART_FAILURE: ("A", "ALL COMP"),
    P.KIDNEY_FAILURE: ("A", "ALL"),
    P.LIVER_FAILURE: ("A", "ALL ABD"),
    P.CAVAL_OBSTRUCTION: ("A", "ALL"),
    P.ACTIVE_CANCER: ("R", "ALL"),
    P.UNEXPLAINED_SWELLING: ("A", "ALL"),
    P.UNSTABLE_BLOOD_PRESSURE: ("R", "ALL"),
    P.LOW_BLOOD_PRESSURE: ("R", ""),
    P.UNSTABLE_ASTHMA: ("R", "ALL"),
    P.UNTREATED_TUBERCULOSIS: ("A", "ALL"),
    P.CHEMOTHERAPY: ("R", "ALL"),
    P.OVERACTIVE_THYROID: ("A", "NECK"),
    P.CAROTID_SINUS: ("A", "NECK"),
    P.HEART_RHYTHM: ("R", "NECK"),
    P.CAROTID_DISEASE: ("A", "NECK"),
    P.VESSEL_DISEASE_OVER_60: ("R", "NECK"),
    P.NECK_MASS: ("L", "NECK"),
    P.PREGNANCY: ("A", "ABD"),
    P.HEAVY_MENSTRUATION: ("R", "ABD"),
    P.AORTIC_ANEURYSM: ("A", "ABD"),
    P.ABDOMINAL_SURGERY: ("A", "ABD ABD-S"),
    P.BOWEL_OBSTRUCTION: ("A", "ABD ABD-S"),
    P.BOWEL_DISEASE: ("A", "ABD"),
    P.PELVIC_RADIATION_INJURY: ("A", "ABD"),
    P.PELVIC_CLOT: ("A", "ABD"),
    P.SEIZURES: ("A", "ABD"),
    P.ABDOMINAL_PAIN: ("A", "ABD ABD-S"),
    # Care page 2.4 and the map's region list (leg: arterial disease; limb: severe nerve loss).
    P.ARTERIAL_DISEASE: ("L", "LIMB COMP"),
    P.SENSORY_LOSS: ("L", "LIMB COMP"),
    # Map rules: fragile or open skin is left out and planned around; device: a hand breadth clear.
    P.FRAGILE_CHEST_SKIN: ("L", "CHEST"),
    P.FRAGILE_LIMB_SKIN: ("L", "LIMB"),
    P.DEVICE_UNDER_SKIN: ("L", ""),
}
BLOCK_OF = {
    "ALL": Block.ALL_STEPS,
    "NECK": Block.NECK,
    "ABD": Block.DEEP_BELLY,
    "ABD-S": Block.BELLY_SKIN,
    "LIMB": Block.LIMB,
    "CHEST": Block.CHEST_FRONT,
    "COMP": Block.COMPRESSION,
}
LEVEL_OF = {"A": Level.ABSOLUTE, "R": Level.RELATIVE, "L": Level.LOCAL}


def test_every_precaution_of_the_vocabulary_has_an_effect() -> None:
    assert EFFECTS.keys() == set(P) == CARE_PAGE.keys()


@pytest.mark.parametrize("precaution", P)
def test_level_and_blocks_follow_the_care_page(precaution: P) -> None:
    level, blocks = CARE_PAGE[precaution]
    effect = EFFECTS[precaution]
    assert effect.level is LEVEL_OF[level]
    assert effect.blocks == {BLOCK_OF[block] for block in blocks.split()}


@pytest.mark.parametrize("precaution", P)
def test_each_effect_says_why_and_where_it_was_read(precaution: P) -> None:
    effect = EFFECTS[precaution]
    assert effect.reason.endswith(".")
    assert effect.plain.endswith(".")
    assert effect.source


@pytest.mark.parametrize("precaution", P)
def test_only_a_relative_precaution_can_be_cleared(precaution: P) -> None:
    effects = effects_of([precaution], cleared=[precaution])
    if CARE_PAGE[precaution][0] == "R":
        assert effects.standing == ()
        assert [effect.precaution for effect in effects.cleared] == [precaution]
    else:
        assert [effect.precaution for effect in effects.standing] == [precaution]
        assert effects.cleared == ()


def test_absolute_bars_and_relative_waits() -> None:
    effects = effects_of([P.ACTIVE_CANCER, P.ACUTE_CLOT, P.NECK_MASS])
    assert [effect.precaution for effect in effects.barring] == [P.ACUTE_CLOT]
    assert [effect.precaution for effect in effects.awaiting_clearance] == [P.ACTIVE_CANCER]


def test_a_clearance_without_the_precaution_changes_nothing() -> None:
    assert effects_of([], cleared=[P.ACTIVE_CANCER]).cleared == ()

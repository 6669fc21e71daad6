"""What each precaution bars. The usual caution: these are defaults for a licensed clinician, who
judges the single client and follows local rules.

Sources are the care page's marks: BP06 (Best Practice, international consensus, 2006), WOOD
(hospice page), COMP (2020 consensus on compression risks), MGM (a therapists' list of
contraindications), PORT (clinic handout). "From memory" was not re-read; "common practice" has
no source.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from clinic.common.vocabulary import Precaution, Word


class Level(Word):
    """How firmly a precaution bars what it blocks."""

    ABSOLUTE = "absolute", "absolute: may not be lifted while it lasts"
    RELATIVE = "relative", "relative: a clinician or physician may clear it, with name and date"
    LOCAL = "local", "local: that region is left out"


class Block(Word):
    """What a precaution blocks."""

    ALL_STEPS = "all_steps", "every manual step"
    NECK = "neck", "neck steps"
    DEEP_BELLY = "deep_belly", "hand pressure on the belly"
    BELLY_SKIN = "belly_skin", "skin steps on the belly"
    LIMB = "limb", "steps on the limb"
    CHEST_FRONT = "chest_front", "skin steps on the front of the chest"
    COMPRESSION = "compression", "compression"


@dataclass(frozen=True)
class Effect:
    """What one precaution does. `reason` is for the record, `plain` for the client."""

    precaution: Precaution
    level: Level
    blocks: frozenset[Block]
    reason: str
    plain: str
    source: str

    @property
    def may_be_cleared(self) -> bool:
        return self.level is Level.RELATIVE


@dataclass(frozen=True)
class Effects:
    """The effects of all precautions found, those cleared set apart."""

    standing: tuple[Effect, ...]
    cleared: tuple[Effect, ...]

    @property
    def blocks(self) -> frozenset[Block]:
        return frozenset(block for effect in self.standing for block in effect.blocks)

    @property
    def barring(self) -> tuple[Effect, ...]:
        """Absolute effects that block issuing any programme."""
        return tuple(e for e in self._on_all_steps() if not e.may_be_cleared)

    @property
    def awaiting_clearance(self) -> tuple[Effect, ...]:
        """Relative effects that block every step until somebody clears them."""
        return tuple(e for e in self._on_all_steps() if e.may_be_cleared)

    def blocking(self, block: Block) -> tuple[Effect, ...]:
        return tuple(effect for effect in self.standing if block in effect.blocks)

    def _on_all_steps(self) -> tuple[Effect, ...]:
        return self.blocking(Block.ALL_STEPS)


def effects_of(found: Iterable[Precaution], *, cleared: Iterable[Precaution] = ()) -> Effects:
    """Effects of the precautions found, in the order of the vocabulary.

    Clearing an absolute or a local precaution changes nothing: only relative ones can be cleared.
    """
    found, cleared = set(found), set(cleared)
    effects = [EFFECTS[precaution] for precaution in Precaution if precaution in found]
    lifted = [e for e in effects if e.may_be_cleared and e.precaution in cleared]
    return Effects(standing=tuple(e for e in effects if e not in lifted), cleared=tuple(lifted))


_A, _R, _L = Level.ABSOLUTE, Level.RELATIVE, Level.LOCAL
_ALL, _NECK, _LIMB = Block.ALL_STEPS, Block.NECK, Block.LIMB
_DEEP, _SKIN, _COMP = Block.DEEP_BELLY, Block.BELLY_SKIN, Block.COMPRESSION

STOP = "Do not do these steps now. Talk to us first."
ASK_FIRST = "We need a word with your doctor before you do these steps."
NO_NECK = "We skip the neck to keep you safe."
NO_PRESS = "We skip the press on your belly to keep you safe."
NO_BELLY = "We skip the belly to keep you safe."
NO_LIMB = "We skip the arm or leg to keep you safe."

_ROWS: tuple[tuple[Precaution, Level, tuple[Block, ...], str, str, str], ...] = (
    (
        Precaution.UNTREATED_INFECTION, _A, (_ALL,),
        "Acute infection: no drainage until treated and settled; keep compression if tolerated.",
        STOP, "BP06",
    ),
    (
        Precaution.ACUTE_CLOT, _A, (_ALL, _LIMB),
        "Acute clot: no drainage until a physician clears it.",
        STOP, "WOOD lists clot; clearance common practice",
    ),
    (
        Precaution.HEART_FAILURE, _A, (_ALL, _COMP),
        "Decompensated heart failure: fluid moved to the trunk may overload the heart.",
        STOP, "from memory; heart problems WOOD",
    ),
    (
        Precaution.KIDNEY_FAILURE, _A, (_ALL,),
        "Acute kidney failure: the fluid moved cannot be passed.", STOP, "therapist lists",
    ),
    (
        Precaution.LIVER_FAILURE, _A, (_ALL, _DEEP),
        "Liver failure with fluid in the belly: no drainage.", STOP, "from memory",
    ),
    (
        Precaution.CAVAL_OBSTRUCTION, _A, (_ALL,),
        "Obstructed superior vena cava: the trunk cannot take the fluid.", STOP, "from memory",
    ),
    (
        Precaution.UNEXPLAINED_SWELLING, _A, (_ALL,),
        "New or sudden swelling: no drainage until it is examined.",
        STOP, "common practice, no source",
    ),
    (
        Precaution.UNTREATED_TUBERCULOSIS, _A, (_ALL,),
        "Untreated tuberculosis: no drainage.", STOP, "from memory",
    ),
    (
        Precaution.ACTIVE_CANCER, _R, (_ALL,),
        "Active cancer: physician and client must consent; never over a known tumour.",
        ASK_FIRST, "BP06",
    ),
    (
        Precaution.UNSTABLE_BLOOD_PRESSURE, _R, (_ALL,),
        "Unstable high blood pressure: wait for clearance.", ASK_FIRST, "from memory",
    ),
    (
        Precaution.LOW_BLOOD_PRESSURE, _R, (),
        "Low blood pressure or faintness: keep sessions short and rise slowly.",
        "Keep it short. Sit up slowly when you are done.", "common practice, no source",
    ),
    (
        Precaution.UNSTABLE_ASTHMA, _R, (_ALL,),
        "Unstable asthma: wait for clearance.", ASK_FIRST, "common practice, no source",
    ),
    (
        Precaution.CHEMOTHERAPY, _R, (_ALL,),
        "Chemotherapy in course or low platelets: ask oncology first.",
        ASK_FIRST, "common practice, no source",
    ),
    (
        Precaution.OVERACTIVE_THYROID, _A, (_NECK,),
        "Overactive thyroid: no steps on the neck.", NO_NECK, "MGM",
    ),
    (
        Precaution.CAROTID_SINUS, _A, (_NECK,),
        "Carotid sinus sensitivity: touch on the neck may slow the heart.", NO_NECK, "MGM",
    ),
    (
        Precaution.HEART_RHYTHM, _R, (_NECK,),
        "Heart rhythm disorder: no neck steps unless controlled and cleared.",
        NO_NECK, "MGM; clearance from memory",
    ),
    (
        Precaution.CAROTID_DISEASE, _A, (_NECK,),
        "Carotid narrowing, stroke or transient attack: no steps on the neck.",
        NO_NECK, "from memory",
    ),
    (
        Precaution.VESSEL_DISEASE_OVER_60, _R, (_NECK,),
        "Vessel disease over the age of 60: no neck steps unless cleared.", NO_NECK, "MGM",
    ),
    (
        Precaution.NECK_MASS, _L, (_NECK,),
        "Neck mass, recent neck surgery or neck line: the neck is left out.",
        NO_NECK, "from memory",
    ),
    (
        Precaution.PREGNANCY, _A, (_DEEP,),
        "Pregnancy: no hand pressure on the belly; reclined, not flat, late in pregnancy.",
        f"{NO_PRESS} Do not lie flat.", "MGM; position common practice, no source",
    ),
    (
        Precaution.HEAVY_MENSTRUATION, _R, (_DEEP,),
        "Heavy or painful menstruation: no hand pressure on the belly.", NO_PRESS, "MGM",
    ),
    (
        Precaution.AORTIC_ANEURYSM, _A, (_DEEP,),
        "Abdominal aortic aneurysm: no hand pressure on the belly.", NO_PRESS, "MGM",
    ),
    (
        Precaution.ABDOMINAL_SURGERY, _A, (_DEEP, _SKIN),
        "Recent abdominal or pelvic surgery: the belly is left out until cleared.",
        NO_BELLY, "from memory",
    ),
    (
        Precaution.BOWEL_DISEASE, _A, (_DEEP,),
        "Active bowel disease: no hand pressure on the belly.", NO_PRESS, "MGM; from memory",
    ),
    (
        Precaution.BOWEL_OBSTRUCTION, _A, (_DEEP, _SKIN),
        "Bowel obstruction: the belly is left out.", NO_BELLY, "MGM",
    ),
    (
        Precaution.PELVIC_CLOT, _A, (_DEEP,),
        "Pelvic clot, now or past: no hand pressure on the belly.", NO_PRESS, "from memory",
    ),
    (
        Precaution.PELVIC_RADIATION_INJURY, _A, (_DEEP,),
        "Radiation injury of bowel or bladder: no hand pressure on the belly.",
        NO_PRESS, "from memory",
    ),
    (
        Precaution.SEIZURES, _A, (_DEEP,),
        "Seizure disorder: no hand pressure on the belly.", NO_PRESS, "MGM, one list only",
    ),
    (
        Precaution.ABDOMINAL_PAIN, _A, (_DEEP, _SKIN),
        "Unexplained abdominal pain: the belly is left out.", NO_BELLY, "from memory",
    ),
    (
        Precaution.ARTERIAL_DISEASE, _L, (_LIMB, _COMP),
        "Arterial disease: the limb is left out; compression needs an arterial test.",
        NO_LIMB, "COMP for compression; limb from memory",
    ),
    (
        Precaution.SENSORY_LOSS, _L, (_LIMB, _COMP),
        "Severe loss of feeling: too much pressure would not be felt.",
        NO_LIMB, "COMP for compression; limb from memory",
    ),
    (
        Precaution.FRAGILE_CHEST_SKIN, _L, (Block.CHEST_FRONT,),
        "Fragile, open or irradiated chest skin: the front of that chest is left out.",
        "We skip the sore skin on your chest.", "common practice, no source",
    ),
    (
        Precaution.FRAGILE_LIMB_SKIN, _L, (_LIMB,),
        "Fragile or open limb skin: the limb is left out.", NO_LIMB, "common practice, no source",
    ),
    (
        Precaution.DEVICE_UNDER_SKIN, _L, (),
        "Device under the skin: keep one hand breadth clear; forbid the region if that fails.",
        "Stay one hand width away from the device under your skin.", "PORT",
    ),
)  # fmt: skip

EFFECTS: Mapping[Precaution, Effect] = MappingProxyType(
    {
        precaution: Effect(precaution, level, frozenset(blocks), reason, plain, source)
        for precaution, level, blocks, reason, plain, source in _ROWS
    }
)

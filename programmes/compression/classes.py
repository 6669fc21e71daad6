"""Compression classes as data: "class 2" means another pressure in each standard.

So a garment always keeps system, class and mmHg. Pressures are at the ankle, for sleeves at the
wrist, in mmHg.
"""

from dataclasses import dataclass

from clinic.common.vocabulary import Word


class ClassSystem(Word):
    """The standard a class refers to."""

    RAL_LEG = "ral_leg", "RAL-GZ 387/1, stockings"
    RAL_ARM = "ral_arm", "RAL-GZ 387/2, sleeves"
    BS = "bs", "BS 6612"
    FRENCH = "french", "French (ASQUAL)"
    US = "us", "usual US bands, no standard"
    MAKER = "maker", "maker's own"


@dataclass(frozen=True)
class CompressionClass:
    """One class: from and to in mmHg; `to_mmhg` None has no upper end."""

    system: ClassSystem
    name: str
    from_mmhg: int
    to_mmhg: int | None
    source: str
    is_from_memory: bool = False

    @property
    def key(self) -> str:
        return f"{self.system.value}:{self.name}"

    @property
    def label(self) -> str:
        """ "class 2, 23 to 32 mmHg"."""
        return f"class {self.name}, {band(self.from_mmhg, self.to_mmhg)}"


def band(from_mmhg: int, to_mmhg: int | None) -> str:
    """ "23 to 32 mmHg", "49 mmHg and more"."""
    return f"{from_mmhg} mmHg and more" if to_mmhg is None else f"{from_mmhg} to {to_mmhg} mmHg"


_EUROCOM = "RAL-GZ 387, as told by eurocom, quality features of medical compression stockings"
_RAL_PART_2 = "RAL-GZ 387 part 2; from memory, not re-read"
_A4 = "BS 6612, as told by a4medicine.com, compression stockings guide"
_FRENCH_1 = "ASQUAL class 1, read in part"
_FRENCH = "ASQUAL; from memory, not re-read"
_US = "usual band, no standard: eurocom glossary, compression classes"
_US_MEMORY = "usual band, no standard; from memory, not re-read"
_RAL, _ARM, _BS = ClassSystem.RAL_LEG, ClassSystem.RAL_ARM, ClassSystem.BS
_FR, _USA = ClassSystem.FRENCH, ClassSystem.US

# Sources beside each row. "over 36" is 37 and more in whole mmHg.
CLASSES = (
    CompressionClass(_RAL, "1", 18, 21, _EUROCOM),
    CompressionClass(_RAL, "2", 23, 32, _EUROCOM),
    CompressionClass(_RAL, "3", 34, 46, _EUROCOM),
    CompressionClass(_RAL, "4", 49, None, _EUROCOM),
    CompressionClass(_ARM, "1", 15, 21, _RAL_PART_2, is_from_memory=True),
    CompressionClass(_ARM, "2", 23, 32, _RAL_PART_2, is_from_memory=True),
    CompressionClass(_ARM, "3", 34, 46, _RAL_PART_2, is_from_memory=True),
    CompressionClass(_BS, "1", 14, 17, _A4),
    CompressionClass(_BS, "2", 18, 24, _A4),
    CompressionClass(_BS, "3", 25, 35, _A4),
    CompressionClass(_FR, "1", 10, 15, _FRENCH_1),
    CompressionClass(_FR, "2", 15, 20, _FRENCH, is_from_memory=True),
    CompressionClass(_FR, "3", 20, 36, _FRENCH, is_from_memory=True),
    CompressionClass(_FR, "4", 37, None, _FRENCH, is_from_memory=True),
    CompressionClass(_USA, "1", 15, 20, _US_MEMORY, is_from_memory=True),
    CompressionClass(_USA, "2", 20, 30, _US),
    CompressionClass(_USA, "3", 30, 40, _US),
    CompressionClass(_USA, "4", 40, 50, _US_MEMORY, is_from_memory=True),
)
BY_KEY = {each.key: each for each in CLASSES}


def classes_of(system: ClassSystem) -> tuple[CompressionClass, ...]:
    """The classes of one system, lightest first; none for a maker's own."""
    return tuple(each for each in CLASSES if each.system is system)


def same_name_elsewhere(chosen: CompressionClass) -> tuple[CompressionClass, ...]:
    """Classes of the same name that mean another pressure: what an order must not mix up."""
    pressure = (chosen.from_mmhg, chosen.to_mmhg)
    return tuple(
        each
        for each in CLASSES
        if each.name == chosen.name and (each.from_mmhg, each.to_mmhg) != pressure
    )

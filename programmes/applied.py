"""What was wound or seen, between the form that reads it and its service. No Django."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from clinic.common.vocabulary import Limb, Side
from programmes.compression.pressure import Bandage
from programmes.compression.words import FitSeen


@dataclass(frozen=True)
class Wound:
    """One bandage as wound: width and levels in cm, pull in kgf, to the decimals of the form."""

    material: str
    width_cm: Decimal
    tension_kgf: Decimal
    layers: int
    from_cm: Decimal | None = None
    to_cm: Decimal | None = None

    @property
    def bandage(self) -> Bandage:
        """The pure bandage that pressures are computed from."""
        return Bandage(
            material=self.material,
            width_cm=float(self.width_cm),
            tension_kgf=float(self.tension_kgf),
            layers=self.layers,
            from_cm=None if self.from_cm is None else float(self.from_cm),
            to_cm=None if self.to_cm is None else float(self.to_cm),
        )


@dataclass(frozen=True)
class Bandaging:
    """One limb as bandaged, innermost bandage first. `abpi` of a leg only, if it is known."""

    limb: Limb
    side: Side
    applied_on: date
    wound: Sequence[Wound]
    abpi: Decimal | None = None
    note: str = ""


@dataclass(frozen=True)
class Seen:
    """How a garment was seen to fit on a day."""

    checked_on: date
    verdict: FitSeen
    note: str = ""

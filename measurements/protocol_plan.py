"""What a protocol shall say, between the form that reads it and the service that keeps it."""

from dataclasses import dataclass

from clinic.common.vocabulary import Limb
from measurements.limb.levels import EndHandling


@dataclass(frozen=True)
class ProtocolPlan:
    """A protocol's name and its stations, each (level in cm, label)."""

    name: str
    limb: Limb
    start_landmark: str
    end_handling: EndHandling
    stations: tuple[tuple[float, str], ...]

"""Where the tape goes: protocols as plain values, and the list of levels they mean."""

from dataclasses import dataclass

from clinic.common.vocabulary import Limb, Word
from measurements.limb.errors import BadProtocol
from measurements.limb.girth import FEWEST_STATIONS
from measurements.limb.units import Centimetres, Millilitres, require_positive


class EndHandling(Word):
    """What is done with the hand or foot, which girths alone cannot measure."""

    EXCLUDED = "excluded", "left out"
    FIGURE_OF_EIGHT = "figure_of_eight", "figure-of-eight length in cm, never turned into a volume"
    DISPLACEMENT = "displacement", "volume by water displacement, entered separately"


@dataclass(frozen=True)
class EndMeasure:
    """What was measured of one hand or foot.

    No generally valid conversion of a figure-of-eight length to a volume is known, so the
    volume is the displaced one or none. Source: JOSPT 2000;30:149-153 relates, not converts.
    """

    figure_of_eight_cm: Centimetres | None = None
    displaced_ml: Millilitres | None = None

    @property
    def volume_ml(self) -> Millilitres | None:
        return self.displaced_ml


@dataclass(frozen=True)
class ProtocolSpec:
    """Where girths are taken on one kind of limb.

    Levels in cm run along the limb's axis, not along the skin, from `start_landmark` upwards:
    the first at `offset_cm`, then every `spacing_cm`, `station_count` in all; `landmarks` are
    further stations, each (name, level in cm).
    """

    limb: Limb
    start_landmark: str
    offset_cm: float
    spacing_cm: float
    station_count: int
    landmarks: tuple[tuple[str, float], ...] = ()
    end_handling: EndHandling = EndHandling.EXCLUDED


def levels_cm(spec: ProtocolSpec) -> tuple[float, ...]:
    """Every level of a protocol in cm above its start landmark, distal first.

    Raises BadProtocol for a negative offset, or fewer than two levels; LengthNotPositive for
    a spacing that is not above 0.
    """
    if spec.offset_cm < 0:
        raise BadProtocol("offset_cm", spec.offset_cm)
    require_positive(spacing_cm=spec.spacing_cm)
    levels = {_level(spec, step) for step in range(spec.station_count)}
    levels |= {float(level) for _, level in spec.landmarks}
    if len(levels) < FEWEST_STATIONS:
        raise BadProtocol("station_count", len(levels))
    if min(levels) < 0:
        raise BadProtocol("landmarks", min(levels))
    return tuple(sorted(levels))


def _level(spec: ProtocolSpec, step: int) -> float:
    """Rounded to a micrometre, so that 0.1 + 0.2 is the same place as 0.3."""
    return round(float(spec.offset_cm) + step * float(spec.spacing_cm), 4)


def levels_up_to(spec: ProtocolSpec, end_cm: float) -> tuple[float, ...]:
    """The levels of a protocol on a limb that ends at `end_cm`, the last step being shorter.

    Raises BadProtocol when fewer than two levels remain.
    """
    levels = {level for level in levels_cm(spec) if level < end_cm} | {float(end_cm)}
    if len(levels) < FEWEST_STATIONS:
        raise BadProtocol("end_cm", end_cm)
    return tuple(sorted(levels))


def station_labels(spec: ProtocolSpec) -> dict[float, str]:
    """Level in cm -> what the therapist reads beside the field: "8 cm above ulnar styloid"."""
    labels = {level: _label(spec, level) for level in levels_cm(spec)}
    return labels | {float(level): name for name, level in spec.landmarks}


def _label(spec: ProtocolSpec, level_cm: float) -> str:
    if level_cm == 0:
        return f"at {spec.start_landmark}"
    return f"{level_cm:g} cm above {spec.start_landmark}"


# Arm from the ulnar styloid every 4 cm towards the armpit: Lymphoedema Framework, Best
# Practice, London 2006; from memory, not re-read. Number of stations: common practice, no source.
ARM_4CM = ProtocolSpec(Limb.ARM, "ulnar styloid", 0, 4, 11)

# 10 cm spacing over the whole limb: Gohil et al., Indian J Vasc Endovasc Surg 2018;5:259-265.
ARM_10CM = ProtocolSpec(Limb.ARM, "ulnar styloid", 0, 10, 5)

# Leg from a fixed height near 2 cm above the inner ankle, every 4 cm: Best Practice 2006, from
# memory, not re-read. Levels named by height above the sole: Support Care Cancer
# 2021;29:3183-3189. That 10 cm above the sole is this height: common practice, no source.
LEG_4CM = ProtocolSpec(Limb.LEG, "sole of the foot", 10, 4, 16)

# Same start; 10 cm spacing: Gohil et al. 2018, as above.
LEG_10CM = ProtocolSpec(Limb.LEG, "sole of the foot", 10, 10, 7)

PRESETS = {
    "arm, 4 cm": ARM_4CM,
    "arm, 10 cm": ARM_10CM,
    "leg, 4 cm": LEG_4CM,
    "leg, 10 cm": LEG_10CM,
}

"""The protocols a new practice begins with, as a migration puts them in.

Frozen: an applied migration must do tomorrow what it did today, so the levels stand here as
plain numbers, and a test compares them with `limb.levels.PRESETS`, where their sources are.
"""

from decimal import Decimal
from typing import Any

# Name, limb, start landmark, first level, spacing (cm), number of stations.
PRESETS = [
    ("Arm, every 4 cm", "arm", "ulnar styloid", 0, 4, 11),
    ("Arm, every 10 cm", "arm", "ulnar styloid", 0, 10, 5),
    ("Leg, every 4 cm", "leg", "sole of the foot", 10, 4, 16),
    ("Leg, every 10 cm", "leg", "sole of the foot", 10, 10, 7),
]


def add_presets(protocol_model: Any, station_model: Any) -> None:
    """Add the presets whose names are not there yet. The models are given, as migrations do."""
    for name, limb, landmark, first_cm, spacing_cm, count in PRESETS:
        if protocol_model.objects.filter(name=name).exists():
            continue
        protocol = protocol_model.objects.create(
            name=name, limb=limb, start_landmark=landmark, end_handling="excluded"
        )
        levels_cm = range(first_cm, first_cm + count * spacing_cm, spacing_cm)
        station_model.objects.bulk_create(
            station_model(
                protocol=protocol, level_cm=Decimal(level_cm), label=_label(level_cm, landmark)
            )
            for level_cm in levels_cm
        )


def _label(level_cm: int, landmark: str) -> str:
    return f"{level_cm} cm above {landmark}" if level_cm else f"at {landmark}"

"""Which count a step takes, and how long it lasts."""

from programmes.body.dose import (
    SECONDS_PER_BREATH,
    SECONDS_PER_LONG_STROKE,
    SECONDS_TO_SETTLE,
    Count,
    Dose,
)
from programmes.body.steps import Step, Technique
from programmes.body.territory import Kind, Place, TerritoryMap

DIGITS = ("fingers", "toes")


def count_for(step: Step, dose: Dose, territory: TerritoryMap) -> Count:
    """The setting that says how often this step is done at each place."""
    if step.technique.is_breathing or step.node is None:
        return dose.breaths
    if step.technique is Technique.SWEEP:
        return dose.sweep
    if step.technique is Technique.BRIDGING and len(step.path) > 2:
        return dose.bridge_again
    return _count_at(territory.places[step.node], dose)


def minutes_of(step: Step, dose: Dose, territory: TerritoryMap, *, repetitions: int) -> float:
    """Estimated minutes of a step, settling the hand included. Common practice, no source."""
    places = max(1, len(step.nodes)) * max(1, len(step.parts))
    seconds = repetitions * _seconds_each(step, dose, territory)
    return places * (seconds + SECONDS_TO_SETTLE) / 60


def _count_at(place: Place, dose: Dose) -> Count:
    if place.is_basin:
        named = {"supraclav": dose.collarbone_hollow, "cervical": dose.neck}
        return named.get(place.basin or "", dose.basin)
    if place.kind is Kind.HEAD_NECK_SEGMENT:
        return dose.neck
    if place.id.startswith(DIGITS):
        return dose.finger_passes
    return dose.limb_width if place.is_limb else dose.trunk_strip


def _seconds_each(step: Step, dose: Dose, territory: TerritoryMap) -> float:
    """Seconds one repetition takes at one place or part."""
    if step.technique.is_breathing or step.node is None:
        return SECONDS_PER_BREATH
    if step.technique is Technique.SWEEP:
        return SECONDS_PER_LONG_STROKE
    place = territory.places[step.node]
    if place.id.startswith(DIGITS):  # one pass takes in front, back and sides
        return dose.seconds_per_stretch * place.hand_widths / max(1, len(step.parts))
    stretches = len(step.moves) if len(step.path) > 2 else place.hand_widths
    return dose.seconds_per_stretch * stretches

"""Acts about garments, bandages and the clinic's own size chart."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from clinic.clients.models import Episode
from clinic.common.vocabulary import Limb, RegionSide, Side
from clinic.demo import scenario
from clinic.demo.stage import Act, Stage
from programmes.applied import Bandaging, Seen, Wound
from programmes.compression.classes import BY_KEY
from programmes.compression.words import BodyPart, FitSeen, Make, WornBy
from programmes.models import Garment, SizeChart
from programmes.services.bandages import record_bandaging
from programmes.services.garments import check_fit, record_garment
from programmes.services.size_charts import import_size_chart


def acts_of_size_chart(told: dict[str, Any], stage: Stage) -> Iterator[Act]:
    chart = SizeChart(
        name=told["name"], limb=Limb(told["limb"]), start_landmark=told["start_landmark"]
    )
    raw, by = scenario.size_chart(), stage.cast.lead
    yield Act(told["day"], 1, lambda: import_size_chart(chart=chart, raw=raw, by=by))


def acts_of_compression(told: dict[str, Any], episode: Episode, stage: Stage) -> Iterator[Act]:
    """Garments issued, looks at their fit, and limbs as bandaged."""
    for garment in told.get("garments", ()):
        yield from _garment_acts(garment, episode, stage)
    for bandaging in told.get("bandages", ()):
        yield _bandaging_act(bandaging, episode, stage)


def _garment_acts(told: dict[str, Any], episode: Episode, stage: Stage) -> Iterator[Act]:
    by, garment = episode.therapist, _garment(told, episode, stage)
    yield Act(told["issued"], 7, lambda: record_garment(garment=garment, by=by))
    for look in told.get("checks", ()):
        yield _check_act(look, garment, stage)


def _garment(told: dict[str, Any], episode: Episode, stage: Stage) -> Garment:
    bought = BY_KEY[told["class"]]
    return Garment(
        episode=episode,
        part=BodyPart(told["part"]),
        side=RegionSide(told["side"]),
        class_system=bought.system,
        class_name=bought.name,
        from_mmhg=bought.from_mmhg,
        to_mmhg=bought.to_mmhg,
        worn_by=WornBy(told["worn"]),
        make=Make(told["make"]),
        supplier=told["supplier"],
        size=told.get("size", ""),
        cost_note=told.get("cost", ""),
        ordered_on=stage.day(told["ordered"]),
        issued_on=stage.day(told["issued"]),
    )


def _check_act(told: dict[str, Any], garment: Garment, stage: Stage) -> Act:
    seen = Seen(stage.day(told["day"]), FitSeen(told["seen"]), told["note"])
    by = garment.episode.therapist
    return Act(told["day"], 8, lambda: check_fit(garment=garment, seen=seen, by=by))


def _bandaging_act(told: dict[str, Any], episode: Episode, stage: Stage) -> Act:
    bandaging = Bandaging(
        limb=Limb(told["limb"]),
        side=Side(told["side"]),
        applied_on=stage.day(told["day"]),
        wound=[_wound(*layer) for layer in told["layers"]],
        note=told["note"],
    )
    by = episode.therapist
    return Act(
        told["day"],
        8,
        lambda: record_bandaging(episode=episode, bandaging=bandaging, by=by),
    )


def _wound(
    material: str, width_cm: str, tension_kgf: str, layers: int, reach_cm: list[str]
) -> Wound:
    from_cm, to_cm = map(Decimal, reach_cm)
    return Wound(material, Decimal(width_cm), Decimal(tension_kgf), layers, from_cm, to_cm)

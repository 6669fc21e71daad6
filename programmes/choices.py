"""What the clinician decides about one programme's plan, and how it is kept. No Django."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from clinic.common.vocabulary import Basin, Precaution, Side
from programmes.body.situation import Options

BasinSide = tuple[Basin, Side]


@dataclass(frozen=True)
class Clearance:
    """A relative precaution cleared for this programme: by whom and when."""

    precaution: Precaution
    cleared_by: str
    cleared_on: date


@dataclass(frozen=True)
class Choices:
    """Everything about the plan that does not follow from the record.

    `working` and `not_working` overrule what the record says about a basin; `forbidden` are map
    ids left out for a wound, fragile skin or a device.
    """

    options: Options = field(default_factory=Options)
    working: frozenset[BasinSide] = frozenset()
    not_working: frozenset[BasinSide] = frozenset()
    clearances: tuple[Clearance, ...] = ()
    forbidden: frozenset[str] = frozenset()
    first_side: Side | None = None


def as_json(choices: Choices) -> dict[str, Any]:
    """Plain values for a JSON column."""
    options = choices.options
    return {
        "limb_by_therapist_only": options.limb_by_therapist_only,
        "lesser_routes": options.lesser_routes,
        "helper_available": options.helper_available,
        "working": basins_as_json(choices.working),
        "not_working": basins_as_json(choices.not_working),
        "clearances": [
            {
                "precaution": one.precaution.value,
                "cleared_by": one.cleared_by,
                "cleared_on": one.cleared_on.isoformat(),
            }
            for one in choices.clearances
        ],
        "forbidden": sorted(choices.forbidden),
        "first_side": choices.first_side.value if choices.first_side else None,
    }


def from_json(kept: Mapping[str, Any]) -> Choices:
    """The opposite of `as_json`; an empty mapping is a clinician who decided nothing yet."""
    first = kept.get("first_side")
    return Choices(
        options=Options(
            limb_by_therapist_only=kept.get("limb_by_therapist_only", False),
            lesser_routes=kept.get("lesser_routes", False),
            helper_available=kept.get("helper_available", False),
        ),
        working=basins_from_json(kept.get("working", ())),
        not_working=basins_from_json(kept.get("not_working", ())),
        clearances=tuple(
            Clearance(
                Precaution(one["precaution"]),
                one["cleared_by"],
                date.fromisoformat(one["cleared_on"]),
            )
            for one in kept.get("clearances", ())
        ),
        forbidden=frozenset(kept.get("forbidden", ())),
        first_side=Side(first) if first else None,
    )


def basins_as_json(basins: frozenset[BasinSide]) -> list[list[str]]:
    return sorted([basin.value, side.value] for basin, side in basins)


def basins_from_json(kept: Any) -> frozenset[BasinSide]:
    return frozenset((Basin(basin), Side(side)) for basin, side in kept)

"""Episodes whose programmes differ. All invented."""

from typing import Any

from clinic.accounts.models import Practice, User
from clinic.clients.models import Episode, Irradiation, NodeSurgery, PrecautionFound
from clinic.common.vocabulary import (
    Basin,
    Involvement,
    NodeProcedure,
    Phase,
    Precaution,
    RadiationField,
    Region,
    RegionSide,
    Side,
)
from tests.builders import make_client, make_episode, today

SWOLLEN = Involvement.SWOLLEN


def make_practice(**differences: Any) -> Practice:
    values = {"name": "Tidewater Lymphedema Practice", "phone": "555 0100"}
    return Practice.objects.create(**values | differences)


def treated(episode: Episode, basin: Basin, side: Side) -> None:
    NodeSurgery.objects.create(
        client=episode.client, procedure=NodeProcedure.FULL, basin=basin, side=side
    )


def arm_episode(therapist: User, side: Side = Side.LEFT, **differences: Any) -> Episode:
    """One arm swollen, the armpit of that side operated on, maintenance phase."""
    told: dict[str, Any] = {
        "regions": [(Region.ARM, RegionSide(side.value), SWOLLEN)],
        "phase": Phase.MAINTENANCE,
    }
    episode = make_episode(make_client(), therapist, **told | differences)
    treated(episode, Basin.AXILLA, side)
    return episode


def leg_episode(therapist: User, side: Side = Side.RIGHT) -> Episode:
    regions = [(Region.LEG, RegionSide(side.value), SWOLLEN)]
    episode = make_episode(make_client(), therapist, regions=regions, phase=Phase.MAINTENANCE)
    treated(episode, Basin.GROIN, side)
    return episode


def irradiated(episode: Episode, field: RadiationField, side: RegionSide) -> None:
    Irradiation.objects.create(client=episode.client, field=field, side=side)


def has(episode: Episode, precaution: Precaution, by: User) -> PrecautionFound:
    return PrecautionFound.objects.create(
        client=episode.client, precaution=precaution, found_on=today(), found_by=by
    )

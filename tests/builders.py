"""Plain functions that make one thing each, complete and valid, with only the named differences."""

from datetime import date, time
from decimal import Decimal
from typing import Any

from django.utils import timezone

from clinic.accounts.models import User
from clinic.clients.models import AffectedRegion, Client, Episode, PhaseChange, Referrer
from clinic.common.vocabulary import (
    Cause,
    Involvement,
    Limb,
    Phase,
    Posture,
    Region,
    RegionSide,
    Sex,
    Side,
)
from measurements.limb.levels import EndHandling
from measurements.models import GirthReading, GirthSession, Protocol, ProtocolStation

# The constructed arm of the reference worked examples (tests/published): 4 cm from the wrist.
ARM_LEVELS_CM = [4 * n for n in range(11)]
ARM_SWOLLEN_CM = [18.2, 19.1, 21.4, 24.0, 26.3, 27.5, 27.8, 28.4, 29.6, 31.2, 32.5]
ARM_OTHER_CM = [16.4, 16.9, 18.8, 21.2, 23.4, 24.9, 25.6, 26.5, 27.7, 29.0, 30.1]


def make_referrer(**differences: Any) -> Referrer:
    values = {
        "title": "Dr.",
        "given_name": "Odile",
        "family_name": "Farrow",
        "speciality": "Medical oncology",
        "organisation": "Harbour Cancer Centre",
        "street": "4 Quay Road",
        "town": "Saltmere, NY 10001",
    }
    return Referrer.objects.create(**values | differences)


def make_client(**differences: Any) -> Client:
    values = {
        "record_number": f"T{Client.objects.count() + 1:05}",
        "given_name": "Marguerite",
        "family_name": "Ångström",
        "born_on": date(1961, 3, 4),
        "sex": Sex.FEMALE,
    }
    return Client.objects.create(**values | differences)


def make_episode(client: Client, therapist: User, **differences: Any) -> Episode:
    """An open episode: right arm swollen, intensive phase from the opening day."""
    regions = differences.pop("regions", [(Region.ARM, RegionSide.RIGHT, Involvement.SWOLLEN)])
    phase = differences.pop("phase", Phase.INTENSIVE)
    values = {
        "client": client,
        "therapist": therapist,
        "opened_on": date(2026, 1, 5),
        "cause": Cause.CANCER_TREATMENT,
        "diagnosis": "I97.2",
        "dominant_hand": Side.RIGHT,
        "referrer": client.referrer,
    }
    episode = Episode.objects.create(**values | differences)
    for region, side, involvement in regions:
        AffectedRegion.objects.create(
            episode=episode, region=region, side=side, involvement=involvement
        )
    PhaseChange.objects.create(
        episode=episode,
        phase=phase,
        since_on=episode.opened_on,
        reason="Evaluation",
        by=therapist,
    )
    return episode


def make_protocol(**differences: Any) -> Protocol:
    levels_cm = differences.pop("levels_cm", ARM_LEVELS_CM)
    values = {
        "name": f"Arm, 4 cm (test {Protocol.objects.count() + 1})",
        "limb": Limb.ARM,
        "start_landmark": "ulnar styloid",
        "end_handling": EndHandling.EXCLUDED,
    }
    protocol = Protocol.objects.create(**values | differences)
    for level_cm in levels_cm:
        ProtocolStation.objects.create(
            protocol=protocol, level_cm=Decimal(str(level_cm)), label=f"{level_cm} cm"
        )
    return protocol


def make_session(
    episode: Episode, protocol: Protocol, *, taken_on: date, **differences: Any
) -> GirthSession:
    """A recorded session of both limbs; girths per side as lists in the protocol's order."""
    girths = {
        Side.RIGHT: differences.pop("right_cm", ARM_SWOLLEN_CM),
        Side.LEFT: differences.pop("left_cm", ARM_OTHER_CM),
    }
    values = {
        "episode": episode,
        "protocol": protocol,
        "limb": protocol.limb,
        "taken_on": taken_on,
        "taken_at": time(10, 15),
        "posture": Posture.SITTING,
        "weight_kg": Decimal("70.0"),
        "taken_by": episode.therapist,
    }
    session = GirthSession.objects.create(**values | differences)
    levels = [station.level_cm for station in protocol.stations.all()]
    GirthReading.objects.bulk_create(
        GirthReading(session=session, side=side, level_cm=level, girth_cm=Decimal(str(girth)))
        for side, taped in girths.items()
        for level, girth in zip(levels, taped, strict=False)
    )
    return session


def today() -> date:
    return timezone.localdate()

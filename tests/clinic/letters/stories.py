"""Episodes whose letters differ, each with the girths that make them so. All invented."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from clinic.accounts.models import Practice, User
from clinic.clients.models import (
    DrugTreatment,
    Episode,
    Irradiation,
    NodeSurgery,
    Operation,
    PrecautionFound,
    Surgery,
)
from clinic.common.vocabulary import (
    Basin,
    Involvement,
    Limb,
    NodeProcedure,
    Phase,
    Precaution,
    RadiationField,
    Region,
    RegionSide,
    Side,
    Stage,
)
from measurements.limb.staging import Elevation, Fibrosis, Pitting, Stemmer
from measurements.models import LimbFindings, Protocol
from tests.builders import (
    ARM_OTHER_CM,
    ARM_SWOLLEN_CM,
    make_client,
    make_episode,
    make_protocol,
    make_referrer,
    make_session,
    today,
)

# A leg tapers from about 60 cm at the top to 24 cm above the ankle; shape invented, size usual.
LEG_LEVELS_CM = [4 * n for n in range(16)]
LEG_CM = [24.0 + 2.4 * n for n in range(16)]


def days_ago(days: int) -> date:
    return today() - timedelta(days=days)


def wider(girths_cm: list[float], by_cm: float) -> list[float]:
    return [round(girth + by_cm, 1) for girth in girths_cm]


def make_practice(**differences: Any) -> Practice:
    values = {
        "name": "Tidewater Lymphedema Practice",
        "street": "18 Sluice Lane",
        "town": "Saltmere, NY 10001",
        "phone": "555 0100",
        "fax": "555 0101",
        "email": "desk@tidewater.example",
    }
    return Practice.objects.create(**values | differences)


def arm_episode(therapist: User, **differences: Any) -> Episode:
    """Right arm swollen after breast cancer, opened 90 days ago, with a referrer and a past."""
    client = make_client(referrer=make_referrer())
    told = {"opened_on": days_ago(90), "phase": Phase.INTENSIVE}
    episode = make_episode(client, therapist, **told | differences)
    Surgery.objects.create(
        client=client,
        operation=Operation.MASTECTOMY,
        side=RegionSide.RIGHT,
        done_on=date(2024, 3, 11),
    )
    NodeSurgery.objects.create(
        client=client,
        procedure=NodeProcedure.FULL,
        basin=Basin.AXILLA,
        side=Side.RIGHT,
        nodes_removed=17,
        nodes_positive=3,
        done_on=date(2024, 3, 11),
    )
    Irradiation.objects.create(
        client=client,
        field=RadiationField.CHEST_WALL,
        side=RegionSide.RIGHT,
        done_on=date(2024, 6, 3),
    )
    return episode


def tape(
    episode: Episode, protocol: Protocol, changes: dict[int, tuple[float, float]], **more: Any
) -> None:
    """Sessions of arms by days ago: (right, left) girths wider than the worked example by cm."""
    for index, (days, (right, left)) in enumerate(changes.items()):
        make_session(
            episode,
            protocol,
            taken_on=days_ago(days),
            is_baseline=more.get("baseline", True) and index == 0,
            right_cm=wider(ARM_SWOLLEN_CM, right),
            left_cm=wider(ARM_OTHER_CM, left),
            weight_kg=Decimal("70.0"),
        )


def stage_found(episode: Episode, stage: Stage = Stage.II) -> None:
    for region in episode.regions.all():
        LimbFindings.objects.create(
            region=region,
            found_on=days_ago(80),
            found_by=episode.therapist,
            swelling_visible=True,
            pitting=Pitting.TWO,
            elevation=Elevation.NO,
            stemmer=Stemmer.POSITIVE,
            fibrosis=Fibrosis.MILD,
            suggested_stage=stage,
            stage=stage,
        )


def better(therapist: User) -> Episode:
    """Falls well beyond error over five sessions."""
    episode = arm_episode(therapist)
    falls = {88: (0, 0), 60: (-0.3, 0), 45: (-0.6, 0.1), 20: (-0.9, 0), 3: (-1.2, 0)}
    tape(episode, make_protocol(), falls)
    stage_found(episode)
    return episode


def worse(therapist: User) -> Episode:
    """Rises beyond error over six weeks: no sudden rise."""
    episode = arm_episode(therapist, phase=Phase.MAINTENANCE)
    tape(episode, make_protocol(), {88: (0, 0), 45: (0.3, 0), 2: (1.2, 0)})
    stage_found(episode)
    return episode


def unchanged(therapist: User) -> Episode:
    """One tenth of a centimetre: within error."""
    episode = arm_episode(therapist, phase=Phase.MAINTENANCE)
    tape(episode, make_protocol(), {88: (0, 0), 40: (0.1, 0.1), 5: (0.1, 0)})
    stage_found(episode)
    return episode


def without_baseline(therapist: User) -> Episode:
    episode = arm_episode(therapist)
    tape(episode, make_protocol(), {9: (0, 0)}, baseline=False)
    return episode


def first_session(therapist: User) -> Episode:
    episode = arm_episode(therapist)
    tape(episode, make_protocol(), {9: (0, 0)})
    return episode


def bilateral(therapist: User) -> Episode:
    """Both legs swollen; the right falls, the left stays."""
    client = make_client(referrer=make_referrer())
    regions = [
        (Region.LEG, RegionSide.LEFT, Involvement.SWOLLEN),
        (Region.LEG, RegionSide.RIGHT, Involvement.SWOLLEN),
    ]
    episode = make_episode(
        client, therapist, opened_on=days_ago(90), regions=regions, diagnosis="I89.0"
    )
    protocol = make_protocol(
        limb=Limb.LEG, levels_cm=LEG_LEVELS_CM, start_landmark="lateral malleolus"
    )
    for days, by_cm, kg in [(85, 0.0, "92.0"), (40, -0.6, "91.0"), (4, -1.5, "90.5")]:
        make_session(
            episode,
            protocol,
            taken_on=days_ago(days),
            is_baseline=days == 85,
            right_cm=wider(LEG_CM, by_cm + 2),
            left_cm=wider(LEG_CM, 0.1),
            weight_kg=Decimal(kg),
        )
    stage_found(episode)
    return episode


def much_treated(therapist: User) -> Episode:
    """Every kind of treatment, several precautions, one of them absolute."""
    episode = better(therapist)
    client = episode.client
    for year in range(2019, 2023):
        DrugTreatment.objects.create(
            client=client, drugs="chemotherapy", done_on=date(year, 2, 1), ended_on=date(year, 9, 1)
        )
        Irradiation.objects.create(
            client=client,
            field=RadiationField.SUPRACLAV,
            side=RegionSide.RIGHT,
            done_on=date(year, 10, 1),
        )
    for precaution in (
        Precaution.ACTIVE_CANCER,
        Precaution.CHEMOTHERAPY,
        Precaution.UNTREATED_INFECTION,
        Precaution.FRAGILE_CHEST_SKIN,
        Precaution.DEVICE_UNDER_SKIN,
    ):
        PrecautionFound.objects.create(
            client=client, precaution=precaution, found_on=days_ago(2), found_by=therapist
        )
    return episode


def arm_and_leg(therapist: User) -> Episode:
    """An arm that falls and the leg of the other side that rises, each against its other."""
    swollen = [
        (Region.ARM, RegionSide.RIGHT, Involvement.SWOLLEN),
        (Region.LEG, RegionSide.LEFT, Involvement.SWOLLEN),
    ]
    episode = arm_episode(therapist, regions=swollen)
    tape(episode, make_protocol(), {80: (0, 0), 60: (-0.2, 0), 4: (-0.9, 0)})
    legs = make_protocol(limb=Limb.LEG, levels_cm=LEG_LEVELS_CM, start_landmark="lateral malleolus")
    for days, by_cm in ((80, 1.0), (60, 1.3), (4, 2.0)):
        make_session(
            episode,
            legs,
            taken_on=days_ago(days),
            is_baseline=days == 80,
            right_cm=LEG_CM,
            left_cm=wider(LEG_CM, by_cm),
        )
    return episode


STORIES = {
    "better": better,
    "worse": worse,
    "unchanged": unchanged,
    "without_baseline": without_baseline,
    "first_session": first_session,
    "bilateral": bilateral,
    "arm_and_leg": arm_and_leg,
    "much_treated": much_treated,
}

"""Invented courses of tapings at random: other protocols, missing limbs, several trials, struck."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from random import Random

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.common.vocabulary import Involvement, Limb, Posture, Region, RegionSide, Side
from measurements.models import GirthReading, GirthSession, Protocol
from tests.builders import make_client, make_episode, make_protocol

STRUCK = {"struck_at": datetime(2026, 9, 1, tzinfo=UTC), "struck_reason": "Other client"}
WAYS_TO_TAPE = [
    ("wrist", range(0, 44, 4)),
    ("wrist", range(0, 44, 4)),
    ("wrist", range(0, 44, 4)),
    ("wrist", [0, 5, 10, 15, 20, 30, 36]),
    ("wrist", [8, 12, 16, 20]),
    ("elbow", range(0, 44, 4)),
]


def protocols() -> dict[Limb, list[Protocol]]:
    return {
        limb: [
            make_protocol(limb=limb, start_landmark=mark, levels_cm=list(levels))
            for mark, levels in WAYS_TO_TAPE
        ]
        for limb in Limb
    }


def taped_episode(
    random: Random, therapist: User, ways: dict[Limb, list[Protocol]], *, most: int = 8
) -> Episode:
    """One episode with up to `most` sessions of each kind of limb it has to do with."""
    regions = random.sample([Region.ARM, Region.LEG, Region.BREAST, Region.TRUNK_LOWER], k=2)
    said = {(each, random.choice(list(RegionSide)[:2])) for each in regions}
    if random.random() < 0.3:
        said |= {(Region.ARM, side) for side in list(RegionSide)[:2]}
    episode = make_episode(
        make_client(),
        therapist,
        regions=[(*each, random.choice(list(Involvement))) for each in sorted(said)],
    )
    for limb in random.sample(list(Limb), k=random.choice([1, 1, 2])):
        _sessions(random, episode, ways[limb], random.randint(1, most))
    return episode


def _sessions(random: Random, episode: Episode, ways: list[Protocol], number: int) -> None:
    day, round_of_day, has_baseline = date(2026, 1, 5), 1, False
    size = random.uniform(0.8, 1.4)
    for _ in range(number):
        step = random.choice([0, 5, 9, 30, 90])
        day, round_of_day = day + timedelta(days=step), 1 if step else round_of_day + 1
        is_struck = random.random() < 0.1
        is_baseline = not has_baseline and not is_struck and random.random() < 0.6
        has_baseline |= is_baseline
        session = GirthSession.objects.create(
            episode=episode,
            protocol=(protocol := ways[0] if random.random() < 0.6 else random.choice(ways)),
            limb=protocol.limb,
            taken_on=day,
            round=round_of_day,
            posture=random.choice(list(Posture)),
            weight_kg=random.choice([None, Decimal(random.randint(600, 900)) / 10]),
            taken_by=episode.therapist,
            is_baseline=is_baseline,
            **({**STRUCK, "struck_by": episode.therapist} if is_struck else {}),
        )
        _readings(random, session, size * random.uniform(0.95, 1.08))


def _readings(random: Random, session: GirthSession, size: float) -> None:
    trials = 2 if random.random() < 0.1 else 1
    sides = random.choice([list(Side)] * 6 + [[Side.LEFT], [Side.RIGHT]])
    stations = list(session.protocol.stations.all())
    fewest = random.choice([len(stations)] * 8 + [1, 3])
    GirthReading.objects.bulk_create(
        GirthReading(
            session=session,
            side=side,
            level_cm=station.level_cm,
            trial=trial,
            girth_cm=Decimal(str(round(size * (16 + 0.4 * place) + random.uniform(-1, 1), 1))),
        )
        for side in sides
        for place, station in enumerate(stations[:fewest])
        for trial in range(1, trials + 1)
    )

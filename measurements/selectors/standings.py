"""Standings: as kept for lists, and as the girths give them."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date
from math import isclose
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clinic.clients.models import Episode
from clinic.common.vocabulary import Limb, Posture, Side
from measurements.kept_standing import KeptStanding
from measurements.limb.comparison import Verdict
from measurements.limb.girth import LimbGirths
from measurements.models import GirthSession
from measurements.selectors.courses import volume_points
from measurements.selectors.girth_arrays import girths_of
from measurements.selectors.sessions import last_session
from measurements.selectors.taped import (
    NOT_SAID,
    AffectedSides,
    BriefFacts,
    LimbKey,
    TapedLimbs,
    kilograms,
    sides_of,
)
from measurements.standing import ChangeTold, Standing, standing_of, told_side

BATCH = 200
# A trend of the width of a thumb shows no more; and a recording never reads a whole history.
MOST_POINTS = 24

COLUMNS = [field.attname for field in KeptStanding._meta.concrete_fields if not field.primary_key]
PLAIN = [name for name in COLUMNS if name != "points"]


def reckoned_standings(episode_ids: Collection[UUID]) -> dict[LimbKey, Standing]:
    """What the girths give for every kind of limb taped: 3 queries, however many episodes.

    Reads the girths of their baseline and last sessions: for a few episodes, or in batches.
    """
    needed = {key: _needed(sessions) for key, sessions in _listed(episode_ids).items()}
    limbs = _girths({each.id for sessions in needed.values() for each in sessions})
    sides = sides_of(episode_ids)
    return {
        key: _standing([_taped(each, sides.get(key, NOT_SAID), limbs) for each in sessions])
        for key, sessions in needed.items()
    }


def _listed(episode_ids: Collection[UUID]) -> dict[LimbKey, list[BriefFacts]]:
    """Every session that is not struck out, oldest first."""
    found: defaultdict[LimbKey, list[BriefFacts]] = defaultdict(list)
    rows = (
        GirthSession.objects.filter(episode_id__in=episode_ids, struck_at=None)
        .order_by("taken_on", "round", "recorded_at")
        .values_list("episode_id", "pk", "limb", "taken_on", "posture", "is_baseline", "weight_kg")
    )
    for episode_id, pk, limb, taken_on, posture, is_baseline, weight_kg in rows:
        weight = kilograms(weight_kg)
        facts = BriefFacts(pk, Limb(limb), taken_on, Posture(posture), is_baseline, weight)
        found[episode_id, facts.limb].append(facts)
    return found


def _needed(sessions: Sequence[BriefFacts]) -> list[BriefFacts]:
    """The baseline and the last sessions, oldest first."""
    last = sessions[-MOST_POINTS:]
    return [each for each in sessions[:-MOST_POINTS] if each.is_baseline] + list(last)


def _girths(session_ids: Collection[UUID]) -> dict[tuple[UUID, Side], LimbGirths]:
    return {(key, girths.side): girths for key, girths in girths_of(session_ids)}


def _taped(
    facts: BriefFacts, sides: AffectedSides, limbs: Mapping[tuple[UUID, Side], LimbGirths]
) -> TapedLimbs:
    left, right = (limbs.get((facts.id, side)) for side in (Side.LEFT, Side.RIGHT))
    return TapedLimbs(facts, sides, left, right)


def _standing(sessions: Sequence[TapedLimbs]) -> Standing:
    """One kind of limb, sessions oldest first: one round of a day after the other."""
    *earlier, now = sessions
    baseline = next((each for each in earlier if each.facts.is_baseline), None)
    last = last_session(now, baseline=baseline, previous=earlier[-1] if earlier else None)
    side, is_excess = told_side(last), last.comparison is not None
    return standing_of(
        last, side, volume_points(sessions, side, is_excess=is_excess) if side else []
    )


# As kept


def row_of(episode_id: UUID, standing: Standing) -> KeptStanding:
    """A standing as the row that keeps it."""
    plain = ("limb", "session_id", "taken_on", "is_bilateral", "is_excess", "value_ml", "error_ml")
    rest = ("percent", "relative_percent", "relative_error", "is_sudden_rise", "both_rose")
    return KeptStanding(
        episode_id=episode_id,
        affected=standing.affected or "",
        side=standing.side or "",
        verdict=standing.verdict or "",
        points=[[on.isoformat(), ml] for on, ml in standing.points],
        **{name: getattr(standing, name) for name in (*plain, *rest)},
        **_columns("before", standing.before),
        **_columns("baseline", standing.baseline),
    )


def _columns(name: str, told: ChangeTold | None) -> dict[str, Any]:
    return {
        f"{name}_on": told.since_on if told else None,
        f"{name}_ml": told.change_ml if told else None,
        f"{name}_error_ml": told.error_ml if told else None,
        f"{name}_verdict": told.verdict if told else "",
    }


def kept_standings(
    episodes: QuerySet[Any, Any], *, with_points: bool = False
) -> defaultdict[UUID, list[Standing]]:
    """Episode id -> standing of each kind of limb taped, arm first. One query.

    `episodes` is a query of keys. Without points a row is a third of its size.
    """
    found: defaultdict[UUID, list[Standing]] = defaultdict(list)
    names = COLUMNS if with_points else PLAIN
    rows = KeptStanding.objects.filter(episode__in=episodes).order_by("limb")
    for row in rows.values_list(*names, named=True):
        found[row.episode_id].append(_read(row, row.points if with_points else ()))
    return found


def _read(row: Any, points: Iterable[Sequence[Any]]) -> Standing:
    return Standing(
        limb=Limb(row.limb),
        session_id=row.session_id,
        taken_on=row.taken_on,
        affected=Side(row.affected) if row.affected else None,
        is_bilateral=row.is_bilateral,
        side=Side(row.side) if row.side else None,
        is_excess=row.is_excess,
        value_ml=row.value_ml,
        error_ml=row.error_ml,
        percent=row.percent,
        verdict=Verdict(row.verdict) if row.verdict else None,
        before=_change(row.before_on, row.before_ml, row.before_error_ml, row.before_verdict),
        baseline=_change(
            row.baseline_on, row.baseline_ml, row.baseline_error_ml, row.baseline_verdict
        ),
        relative_percent=row.relative_percent,
        relative_error=row.relative_error,
        is_sudden_rise=row.is_sudden_rise,
        both_rose=row.both_rose,
        points=tuple((date.fromisoformat(on), ml) for on, ml in points),
    )


def _change(on: date | None, ml: float, error_ml: float, judged: str) -> ChangeTold | None:
    return ChangeTold(on, ml, error_ml, Verdict(judged)) if on else None


# Compared


def standings_that_differ() -> Iterator[LimbKey]:
    """Each kept row that is not what the girths give, and each that is missing or left over."""
    for keys in batches():
        told = reckoned_standings(keys)
        kept = {
            (episode_id, each.limb): each
            for episode_id, own in kept_standings(
                Episode.objects.filter(pk__in=keys).values("pk"), with_points=True
            ).items()
            for each in own
        }
        differing = (key for key in {**told, **kept} if not _agree(told.get(key), kept.get(key)))
        yield from sorted(differing)


def batches() -> Iterator[list[UUID]]:
    """The keys of all episodes, a few hundred at a time."""
    keys = list(Episode.objects.order_by("pk").values_list("pk", flat=True))
    yield from (keys[start : start + BATCH] for start in range(0, len(keys), BATCH))


def _agree(told: Standing | None, kept: Standing | None) -> bool:
    if told is None or kept is None:
        return False
    pairs = zip(_flat(told), _flat(kept), strict=True)
    return len(told.points) == len(kept.points) and all(_alike(a, b) for a, b in pairs)


def _flat(standing: Standing) -> list[Any]:
    row = row_of(standing.session_id, standing)
    numbers = [ml for _, ml in row.points]
    days = [on for on, _ in row.points]
    return [getattr(row, name) for name in PLAIN] + [len(days), *days, *numbers]


def _alike(one: Any, other: Any) -> bool:
    """The last binary place may differ from one machine to the next."""
    if isinstance(one, float) and isinstance(other, float):
        return isclose(one, other, rel_tol=1e-9, abs_tol=1e-9)
    return bool(one == other)

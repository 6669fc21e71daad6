"""Surveillance over a whole practice: what was found early, and what was measured in time."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby, zip_longest
from operator import itemgetter
from typing import Any
from uuid import UUID

from dateutil.relativedelta import relativedelta
from django.contrib.postgres.aggregates import ArrayAgg
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from clinic.clients.models import PhaseChange
from clinic.common.vocabulary import Limb, Phase, Side
from clinic.overview.report_dues import GRACE, Kept, Watched, due_in
from clinic.overview.report_limb_rules import Detection, Look, detection
from clinic.overview.report_period import Period
from clinic.scheduling.models import RecallSchedule
from measurements.models import GirthSession
from measurements.selectors.limb_changes import TwoSessions, relative_changes_of
from measurements.selectors.taped import NOT_SAID, LimbKey, sides_of

# The longest stretch between re-measurements that can be kept (`RecallSchedule.every_months`).
LONGEST_MONTHS = 24


@dataclass(frozen=True, slots=True)
class _Session:
    limb: LimbKey
    id: UUID
    taken_on: date
    baseline_id: UUID | None


# What was found early


def early_detections(whole: Period, periods: Sequence[Period]) -> list[Counter[Detection]]:
    """For each period within the whole: limbs taped under surveillance, by what was found.

    Five queries at most.
    """
    listed = _after_baseline(whole)
    looks = _looks(listed)
    first_above = {key: _first_above(own) for key, own in looks.items()}
    last_from_on = max(period.from_on for period in periods)
    earlier = _earlier([key for key, on in first_above.items() if on], last_from_on)
    first_above |= {key: on for key, own in _looks(earlier).items() if (on := _first_above(own))}
    return [
        Counter(
            found
            for key, own in looks.items()
            if (found := detection(own, period, first_above_on=first_above[key]))
        )
        for period in periods
    ]


def _first_above(looks: Iterable[Look]) -> date | None:
    return min((look.taken_on for look in looks if look.is_above), default=None)


def _live() -> QuerySet[Any]:
    """Sessions that are neither struck out nor the baseline, with the baseline taken before them.

    A baseline chosen later says nothing of what was taped before it.
    """
    baseline = GirthSession.objects.filter(
        Q(taken_on__lt=OuterRef("taken_on"))
        | Q(taken_on=OuterRef("taken_on"), round__lt=OuterRef("round")),
        episode=OuterRef("episode"),
        limb=OuterRef("limb"),
        is_baseline=True,
        struck_at=None,
    )
    live = GirthSession.objects.filter(struck_at=None, is_baseline=False)
    return live.annotate(baseline_id=Subquery(baseline.values("pk")[:1])).order_by(
        "taken_on", "round", "recorded_at"
    )


def _after_baseline(period: Period) -> list[_Session]:
    """Sessions of the period taken under surveillance; the day it ended is part of it."""
    changes = PhaseChange.objects.filter(episode=OuterRef("episode")).order_by("-since_on", "-pk")
    before = changes.filter(since_on__lt=OuterRef("taken_on")).values("phase")[:1]
    same_day = changes.filter(since_on=OuterRef("taken_on")).values("phase")[:1]
    taken = _live().filter(taken_on__range=(period.from_on, period.to_on))
    phased = taken.annotate(phase_then=Coalesce(Subquery(before), Subquery(same_day)))
    return _listed(phased.filter(phase_then=Phase.SURVEILLANCE))


def _earlier(keys: Sequence[LimbKey], before_on: date) -> list[_Session]:
    """What was taped of these limbs before a day, in any phase. One query; none for no limb."""
    if not keys:
        return []
    wanted = set(keys)
    episodes = {episode for episode, _ in keys}
    sessions = _listed(_live().filter(episode__in=episodes, taken_on__lt=before_on))
    return [each for each in sessions if each.limb in wanted]


def _listed(sessions: QuerySet[Any]) -> list[_Session]:
    rows = sessions.values_list("episode_id", "limb", "pk", "taken_on", "baseline_id")
    return [
        _Session((episode, Limb(limb)), pk, taken_on, baseline)
        for episode, limb, pk, taken_on, baseline in rows
    ]


def _looks(sessions: Sequence[_Session]) -> Mapping[LimbKey, list[Look]]:
    """What each limb's sessions say against its baseline, oldest first. Two queries at most."""
    if not sessions:
        return {}
    sides = sides_of({each.limb[0] for each in sessions})
    pairs = [_pair(each, sides.get(each.limb, NOT_SAID).side) for each in sessions]
    found = iter(relative_changes_of([pair for pair in pairs if pair]))
    looks: defaultdict[LimbKey, list[Look]] = defaultdict(list)
    for each, pair in zip(sessions, pairs, strict=True):
        looks[each.limb].append(Look(each.taken_on, next(found) if pair else None))
    return looks


def _pair(session: _Session, side: Side | None) -> TwoSessions | None:
    if side is None or session.baseline_id is None:
        return None
    return TwoSessions(session.limb[1], side, session.baseline_id, session.id)


# What was measured in time


def measured_in_time(
    whole: Period, periods: Sequence[Period], *, today: date
) -> list[Counter[Kept]]:
    """For each period within the whole: the re-measurements due, by what became of them.

    Of clients in use now, with the months between re-measurements as they are now. Two queries.
    """
    watched = list(_watched(whole))
    return [
        Counter(kept for one in watched for kept in due_in(one, period, today=today))
        for period in periods
    ]


def _watched(whole: Period) -> Iterator[Watched]:
    taped = _taped_on(whole)
    months = RecallSchedule.objects.filter(episode=OuterRef("episode")).values("every_months")[:1]
    surveillance = PhaseChange.objects.filter(
        episode=OuterRef("episode"), phase=Phase.SURVEILLANCE, since_on__lte=whole.to_on
    )
    rows = (
        PhaseChange.objects.filter(Exists(surveillance), episode__client__deactivated_at=None)
        .annotate(months=Subquery(months))
        .order_by("episode_id", "since_on", "pk")
        .values_list("episode_id", "episode__opened_on", "months", "phase", "since_on")
    )
    for (episode, opened_on, every), own in groupby(rows, key=itemgetter(0, 1, 2)):
        changes = [(phase, since_on) for *_, phase, since_on in own]
        yield Watched(opened_on, every, taped.get(episode, ()), tuple(_spans(changes)))


def _spans(changes: Sequence[tuple[str, date]]) -> Iterator[tuple[date, date | None]]:
    """First day of each surveillance phase, and the day it ended."""
    for (phase, since_on), following in zip_longest(changes, changes[1:]):
        if phase == Phase.SURVEILLANCE:
            yield since_on, following[1] if following else None


def _taped_on(whole: Period) -> Mapping[UUID, tuple[date, ...]]:
    """The days on which each episode was taped, as far as a day in the period rests on them."""
    first_on = whole.from_on - relativedelta(months=LONGEST_MONTHS) - GRACE
    rows = (
        GirthSession.objects.filter(struck_at=None, taken_on__range=(first_on, whole.to_on + GRACE))
        .order_by()
        .values("episode_id")
        .annotate(days=ArrayAgg("taken_on", distinct=True))
        .values_list("episode_id", "days")
    )
    return {episode: tuple(days) for episode, days in rows}

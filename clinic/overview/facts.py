"""What the due lists of many episodes rest on, read as plain values in a few queries."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Exists, F, Max, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from clinic.clients.models import AffectedRegion, Episode, region_name
from clinic.clients.selectors import with_phase, with_reader
from clinic.common.vocabulary import Limb, Phase, Region
from clinic.overview.due import EpisodeFacts
from clinic.scheduling.models import RecallSchedule
from measurements.models import GirthDraft, GirthSession, LimbFindings

LIMB_OF = {Region.ARM: Limb.ARM, Region.LEG: Limb.LEG}
# The kind of paper that the referrer waits for, as clinic.letters names it; a test compares them.
REFERRERS_LETTER = "letter"


def dated(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    """Adds the phase and the days of letters and drafts, in the same query."""
    letters = Episode.letters.rel.related_model.objects.filter(episode=OuterRef("pk"))
    letters = letters.filter(kind=REFERRERS_LETTER)
    latest = letters.filter(approved_at__isnull=False).order_by("-period_to")
    draft = letters.filter(approved_at__isnull=True)
    girths = GirthDraft.objects.filter(episode=OuterRef("pk")).order_by("-saved_at")
    schedule = RecallSchedule.objects.filter(episode=OuterRef("pk"))
    return with_phase(episodes).annotate(
        last_letter_to=Subquery(latest.values("period_to")[:1]),
        letter_draft_at=Subquery(draft.values("compiled_at")[:1]),
        girth_draft_at=Subquery(girths.values("saved_at")[:1]),
        every_months=Subquery(schedule.values("every_months")[:1]),
    )


def letter_days() -> QuerySet[Any, Any]:
    """Rows of (episode, end of the last letter approved, when one was drafted): as `dated` has."""
    letters = Episode.letters.rel.related_model.objects.filter(kind=REFERRERS_LETTER).order_by()
    approved = Q(approved_at__isnull=False)
    return (
        letters.values("episode")
        .annotate(
            last_to=Max("period_to", filter=approved),
            draft_at=Max("compiled_at", filter=~approved),
        )
        .values_list("episode", "last_to", "draft_at")
    )


@dataclass(frozen=True)
class Watched:
    """What an episode treats or watches: its regions, which are staged, when limbs were taped."""

    regions: Sequence[tuple[str, str, bool]]  # region, side, whether a stage was decided
    taped: Mapping[str, date]  # kind of limb -> last day


def facts_of(episode: Any, watched: Watched) -> EpisodeFacts:
    """`episode` has the columns of `dated`, as an episode or as a row of plain values."""
    regions = {region for region, _, _ in watched.regions}
    return EpisodeFacts(
        opened_on=episode.opened_on,
        phase=Phase(episode.phase_now),
        every_months=episode.every_months,
        last_taped_on={
            limb: watched.taped.get(limb) for region, limb in LIMB_OF.items() if region in regions
        },
        unstaged_regions=tuple(
            region_name(region, side)
            for region, side, is_staged in watched.regions
            if not is_staged
        ),
        letter_frequency=episode.wish if episode.agrees and episode.reader_is_active else None,
        last_letter_to=episode.last_letter_to,
        girth_draft_on=day_of(episode.girth_draft_at),
        letter_draft_on=day_of(episode.letter_draft_at),
    )


def all_facts(episodes: QuerySet[Episode]) -> dict[UUID, EpisodeFacts]:
    """What the due list of each episode rests on. Three queries, however many episodes."""
    keys = episodes.order_by().values("pk")
    regions, taped = regions_of(keys), last_taped(keys)
    rows = wishing(dated(episodes)).values_list(*FACT_COLUMNS, named=True)
    return {row.pk: facts_of(row, Watched(regions[row.pk], taped[row.pk])) for row in rows}


FACT_COLUMNS = (
    "pk",
    "opened_on",
    "phase_now",
    "wish",
    "reader_is_active",
    "agrees",
    "last_letter_to",
    "letter_draft_at",
    "girth_draft_at",
    "every_months",
)


def wishing(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    return with_reader(episodes).annotate(agrees=F("client__agrees_to_letters"))


def regions_of(keys: QuerySet[Any]) -> defaultdict[UUID, list[tuple[str, str, bool]]]:
    staged = Exists(LimbFindings.objects.filter(region=OuterRef("pk")))
    found: defaultdict[UUID, list[tuple[str, str, bool]]] = defaultdict(list)
    rows = AffectedRegion.objects.filter(episode__in=keys).annotate(is_staged=staged)
    for key, region, side, is_staged in rows.values_list(
        "episode_id", "region", "side", "is_staged"
    ):
        found[key].append((region, side, is_staged))
    return found


def last_taped(keys: QuerySet[Any]) -> defaultdict[UUID, dict[str, date]]:
    live = GirthSession.objects.filter(episode__in=keys, struck_at=None).order_by()
    found: defaultdict[UUID, dict[str, date]] = defaultdict(dict)
    for key, limb, last_on in live.values_list("episode_id", "limb").annotate(Max("taken_on")):
        found[key][limb] = last_on
    return found


def day_of(moment: datetime | None) -> date | None:
    return timezone.localtime(moment).date() if moment else None

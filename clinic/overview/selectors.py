"""What the joined pages show, read with a fixed number of queries."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import Exists, F, Max, OuterRef, Prefetch, QuerySet, Subquery
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit.selectors import history_of
from clinic.audit.sentences import sentence
from clinic.clients.models import AffectedRegion, Client, Episode, region_name
from clinic.clients.selectors import BodyStory, body_story, episodes_for, with_phase
from clinic.common.vocabulary import Involvement, Limb, Phase, Region, Stage
from clinic.overview.due import DueItem, DueKind, EpisodeFacts, due_items
from clinic.scheduling.models import RecallSchedule
from measurements.models import GirthDraft, GirthSession, LimbFindings
from measurements.report import SessionReport
from measurements.selectors.reports import latest_by_episode
from programmes.selectors.cards import ProgrammeCard, programme_cards
from programmes.selectors.flags import withdrawal_flags

LIMB_OF = {Region.ARM: Limb.ARM, Region.LEG: Limb.LEG}
# The kind of paper that the referrer waits for, as clinic.letters names it; a test compares them.
REFERRERS_LETTER = "letter"
HISTORY_LENGTH = 50
WORKLIST_LENGTH = 30


@dataclass(frozen=True)
class RegionCard:
    """A region of an episode with its latest stage; `stage` is None until one is decided."""

    id: int
    name: str
    involvement: str
    stage: Stage | None
    staged_on: date | None


@dataclass(frozen=True)
class EpisodeCard:
    """An episode at a glance."""

    episode: Episode
    phase: Phase
    phase_since_on: date
    regions: tuple[RegionCard, ...]
    limbs: tuple[Limb, ...]
    reports: tuple[SessionReport, ...]
    programme: ProgrammeCard
    due: tuple[DueItem, ...]

    @property
    def is_open(self) -> bool:
        return self.phase is not Phase.DISCHARGED


@dataclass(frozen=True)
class DueLine:
    """One line of a worklist."""

    episode: Episode
    item: DueItem
    is_overdue: bool


def episode_cards(client: Client, user: User) -> tuple[EpisodeCard, ...]:
    """The client's episodes as this person may see them, open ones first."""
    episodes = list(_wishing(_joined(episodes_for(user).filter(client=client))))
    reports, programmes = latest_by_episode(episodes), programme_cards(episodes)
    cards = [
        _card(episode, reports.get(episode.pk, ()), programmes[episode.pk]) for episode in episodes
    ]
    return tuple(sorted(cards, key=lambda card: not card.is_open))


def clinical_story(client: Client, user: User) -> BodyStory | None:
    """What was done to the client's body; None for who may not see it: it is never fetched."""
    return body_story(client) if user.is_clinical else None


def worklist(user: User, number: str, *, today: date) -> Page[DueLine]:
    """A page of what is due in a therapist's own open episodes, longest overdue first.

    What decides is read for all of them as plain values; whole episodes only for the page shown.
    """
    mine = with_phase(episodes_for(user).filter(therapist=user, client__deactivated_at=None))
    open_ones = mine.exclude(phase_now=Phase.DISCHARGED)
    facts = _all_facts(open_ones)
    found = [(item, key) for key, fact in facts.items() for item in due_items(fact)]
    due = [line for line in [*_to_take_back(open_ones), *found] if line[0].due_on <= today]
    due.sort(key=lambda line: (line[0].due_on, line[0].kind, line[1]))
    page = Paginator(due, WORKLIST_LENGTH).get_page(number)
    shown = with_phase(episodes_for(user)).in_bulk([key for _, key in page.object_list])
    page.object_list = [
        DueLine(shown[key], item, item.is_overdue(today)) for item, key in page.object_list
    ]
    return page


def _to_take_back(episodes: QuerySet[Episode]) -> list[tuple[DueItem, UUID]]:
    """Programmes in clients' hands that know nothing of a precaution found since. Three queries."""
    holding = episodes.filter(programmes__issued_at__isnull=False, programmes__withdrawn_at=None)
    return [
        (DueItem(DueKind.WITHDRAW, min(found.found_on for found in flag.found)), key)
        for key, flag in withdrawal_flags(holding.distinct()).items()
    ]


def history_page(client: Client, number: str) -> Page[Any]:
    """One page of the client's record history, each entry with its sentence."""
    page = Paginator(history_of(client), HISTORY_LENGTH).get_page(number)
    page.object_list = [(entry, sentence(entry.verb)) for entry in page.object_list]
    return page


def _dated(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
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


def _joined(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    """Episodes with their days and their regions with the latest findings."""
    findings = Prefetch(
        "findings", LimbFindings.objects.order_by("-found_on", "-recorded_at"), to_attr="looks"
    )
    regions = Prefetch("regions", AffectedRegion.objects.prefetch_related(findings))
    return _dated(episodes).prefetch_related(regions).order_by("-opened_on", "pk")


@dataclass(frozen=True)
class _Watched:
    """What an episode treats or watches: its regions, which are staged, when limbs were taped."""

    regions: Sequence[tuple[str, str, bool]]  # region, side, whether a stage was decided
    taped: Mapping[str, date]  # kind of limb -> last day


def _facts(episode: Any, watched: _Watched) -> EpisodeFacts:
    """`episode` has the columns of `_dated`, as an episode or as a row of plain values."""
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
        letter_frequency=episode.wish if episode.agrees else None,
        last_letter_to=episode.last_letter_to,
        girth_draft_on=_day(episode.girth_draft_at),
        letter_draft_on=_day(episode.letter_draft_at),
    )


def _all_facts(episodes: QuerySet[Episode]) -> dict[UUID, EpisodeFacts]:
    """What the due list of each episode rests on. Three queries, however many episodes."""
    keys = episodes.order_by().values("pk")
    regions, taped = _regions_of(keys), _last_taped(keys)
    rows = _wishing(_dated(episodes)).values_list(*FACT_COLUMNS, named=True)
    return {row.pk: _facts(row, _Watched(regions[row.pk], taped[row.pk])) for row in rows}


FACT_COLUMNS = (
    "pk",
    "opened_on",
    "phase_now",
    "wish",
    "agrees",
    "last_letter_to",
    "letter_draft_at",
    "girth_draft_at",
    "every_months",
)


def _wishing(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    return episodes.annotate(
        wish=F("referrer__letter_frequency"), agrees=F("client__agrees_to_letters")
    )


def _regions_of(keys: QuerySet[Any]) -> defaultdict[UUID, list[tuple[str, str, bool]]]:
    staged = Exists(LimbFindings.objects.filter(region=OuterRef("pk")))
    found: defaultdict[UUID, list[tuple[str, str, bool]]] = defaultdict(list)
    rows = AffectedRegion.objects.filter(episode__in=keys).annotate(is_staged=staged)
    for key, region, side, is_staged in rows.values_list(
        "episode_id", "region", "side", "is_staged"
    ):
        found[key].append((region, side, is_staged))
    return found


def _last_taped(keys: QuerySet[Any]) -> defaultdict[UUID, dict[str, date]]:
    live = GirthSession.objects.filter(episode__in=keys, struck_at=None).order_by()
    found: defaultdict[UUID, dict[str, date]] = defaultdict(dict)
    for key, limb, last_on in live.values_list("episode_id", "limb").annotate(Max("taken_on")):
        found[key][limb] = last_on
    return found


def _card(
    episode: Any, reports: tuple[SessionReport, ...], programme: ProgrammeCard
) -> EpisodeCard:
    regions = _regions(episode)
    watched = _Watched(
        [(region.region, region.side, bool(region.looks)) for region in episode.regions.all()],
        {report.facts.limb: report.facts.taken_on for report in reports},
    )
    return EpisodeCard(
        episode=episode,
        phase=Phase(episode.phase_now),
        phase_since_on=episode.phase_since_on,
        regions=regions,
        limbs=_limbs(episode),
        reports=reports,
        programme=programme,
        due=due_items(_facts(episode, watched)),
    )


def _regions(episode: Any) -> tuple[RegionCard, ...]:
    return tuple(
        RegionCard(
            id=region.pk,
            name=str(region),
            involvement=Involvement(region.involvement).label,
            stage=Stage(region.looks[0].stage) if region.looks else None,
            staged_on=region.looks[0].found_on if region.looks else None,
        )
        for region in episode.regions.all()
    )


def _limbs(episode: Episode) -> tuple[Limb, ...]:
    regions = {Region(region.region) for region in episode.regions.all()}
    return tuple(limb for region, limb in LIMB_OF.items() if region in regions)


def _day(moment: datetime | None) -> date | None:
    return timezone.localtime(moment).date() if moment else None

"""What the joined pages show, read with a fixed number of queries."""

from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import Prefetch, QuerySet

from clinic.accounts.models import User
from clinic.clients.models import AffectedRegion, Client, Episode
from clinic.clients.selectors import BodyStory, body_story, episodes_for, with_phase
from clinic.common.vocabulary import Involvement, Limb, Phase, Region, Stage
from clinic.overview.due import DueItem, DueKind, due_items
from clinic.overview.facts import LIMB_OF, Watched, all_facts, dated, facts_of, wishing
from measurements.models import LimbFindings
from measurements.report import SessionReport
from measurements.selectors.reports import latest_by_episode
from programmes.selectors.cards import ProgrammeCard, programme_cards
from programmes.selectors.flags import withdrawal_flags

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
    episodes = list(wishing(_joined(episodes_for(user).filter(client=client))))
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
    facts = all_facts(open_ones)
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


def _joined(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    """Episodes with their days and their regions with the latest findings."""
    findings = Prefetch(
        "findings", LimbFindings.objects.order_by("-found_on", "-recorded_at"), to_attr="looks"
    )
    regions = Prefetch("regions", AffectedRegion.objects.prefetch_related(findings))
    return dated(episodes).prefetch_related(regions).order_by("-opened_on", "pk")


def _card(
    episode: Any, reports: tuple[SessionReport, ...], programme: ProgrammeCard
) -> EpisodeCard:
    regions = _regions(episode)
    watched = Watched(
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
        due=due_items(facts_of(episode, watched)),
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

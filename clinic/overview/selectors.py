"""What the joined pages show, read with a fixed number of queries."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import Max, Min, Prefetch, Q, QuerySet
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit.selectors import history_of
from clinic.audit.sentences import sentence
from clinic.clients.models import AffectedRegion, Client, Episode
from clinic.clients.selectors import BodyStory, body_story, episodes_for, with_phase
from clinic.common.vocabulary import Involvement, Limb, Phase, Region, Stage
from clinic.overview.due import DueItem, EpisodeFacts, due_items
from measurements.models import GirthDraft, GirthSession, LimbFindings
from measurements.report import SessionReport
from measurements.selectors.reports import latest_by_episode

LIMB_OF = {Region.ARM: Limb.ARM, Region.LEG: Limb.LEG}
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
    episodes = list(_joined(episodes_for(user).filter(client=client)))
    reports = latest_by_episode(episodes)
    facts = _facts(episodes)
    cards = [_card(episode, facts[episode.pk], reports.get(episode.pk, ())) for episode in episodes]
    return tuple(sorted(cards, key=lambda card: not card.is_open))


def clinical_story(client: Client, user: User) -> BodyStory | None:
    """What was done to the client's body; None for who may not see it: it is never fetched."""
    return body_story(client) if user.is_clinical else None


def worklist(user: User, *, today: date) -> tuple[DueLine, ...]:
    """What is due or overdue in a therapist's own open episodes, longest overdue first."""
    mine = _joined(episodes_for(user).filter(therapist=user)).exclude(phase_now=Phase.DISCHARGED)
    episodes = {episode.pk: episode for episode in mine.filter(client__deactivated_at=None)}
    lines = [
        DueLine(episodes[key], item, item.is_overdue(today))
        for key, facts in _facts(episodes.values()).items()
        for item in due_items(facts)
        if item.due_on <= today
    ]
    return tuple(sorted(lines, key=lambda line: (line.item.due_on, str(line.episode.client))))


def page_of(lines: Sequence[DueLine], asked: Mapping[str, str]) -> Page[DueLine]:
    """The page of a worklist that the address asks for."""
    return Paginator(lines, WORKLIST_LENGTH).get_page(asked.get("page", "1"))


def history_page(client: Client, number: str) -> Page[Any]:
    """One page of the client's record history, each entry with its sentence."""
    page = Paginator(history_of(client), HISTORY_LENGTH).get_page(number)
    page.object_list = [(entry, sentence(entry.verb)) for entry in page.object_list]
    return page


def _joined(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    """Episodes with phase, regions with their latest findings, letters and drafts."""
    findings = Prefetch(
        "findings", LimbFindings.objects.order_by("-found_on", "-recorded_at"), to_attr="looks"
    )
    approved = Q(letters__approved_at__isnull=False)
    return (
        with_phase(episodes)
        .annotate(
            last_letter_to=Max("letters__period_to", filter=approved),
            letter_draft_at=Min("letters__compiled_at", filter=~approved),
        )
        .prefetch_related(Prefetch("regions", AffectedRegion.objects.prefetch_related(findings)))
        .order_by("-opened_on", "pk")
    )


def _facts(episodes: Iterable[Episode]) -> dict[UUID, EpisodeFacts]:
    """What each episode's due list rests on. Two queries for all of them."""
    listed = list(episodes)
    taped = _last_taped(listed)
    drafts = _girth_drafts(listed)
    return {
        episode.pk: EpisodeFacts(
            opened_on=episode.opened_on,
            phase=Phase(episode.phase_now),
            last_taped_on={limb: taped.get((episode.pk, limb)) for limb in _limbs(episode)},
            unstaged_regions=tuple(card.name for card in _regions(episode) if card.stage is None),
            letter_frequency=_letter_frequency(episode),
            last_letter_to=episode.last_letter_to,
            girth_draft_on=_day(drafts.get(episode.pk)),
            letter_draft_on=_day(episode.letter_draft_at),
        )
        for episode in listed
    }


def _last_taped(episodes: Sequence[Episode]) -> dict[tuple[UUID, str], date]:
    live = GirthSession.objects.filter(
        episode__in=[episode.pk for episode in episodes], struck_at=None
    )
    last = live.order_by().values("episode_id", "limb").annotate(last_on=Max("taken_on"))
    return {(row["episode_id"], row["limb"]): row["last_on"] for row in last}


def _girth_drafts(episodes: Sequence[Episode]) -> dict[UUID, datetime]:
    drafts = GirthDraft.objects.filter(episode__in=[episode.pk for episode in episodes])
    return {
        row["episode_id"]: row["kept_at"]
        for row in drafts.order_by().values("episode_id").annotate(kept_at=Max("saved_at"))
    }


def _card(episode: Episode, facts: EpisodeFacts, reports: tuple[SessionReport, ...]) -> EpisodeCard:
    return EpisodeCard(
        episode=episode,
        phase=facts.phase,
        phase_since_on=episode.phase_since_on,
        regions=_regions(episode),
        limbs=_limbs(episode),
        reports=reports,
        due=due_items(facts),
    )


def _regions(episode: Episode) -> tuple[RegionCard, ...]:
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


def _letter_frequency(episode: Episode) -> str | None:
    if episode.referrer is None or not episode.client.agrees_to_letters:
        return None
    return episode.referrer.letter_frequency


def _day(moment: datetime | None) -> date | None:
    return timezone.localtime(moment).date() if moment else None

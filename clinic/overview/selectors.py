"""What the joined pages show, read with a fixed number of queries."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import Exists, Max, Min, OuterRef, Prefetch, Q, QuerySet
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
NO_LETTER = (None, None)


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
    found = _joined(episodes_for(user).filter(client=client))
    episodes, facts = list(found), _facts(found)
    reports = latest_by_episode(episodes)
    cards = [_card(episode, facts[episode.pk], reports.get(episode.pk, ())) for episode in episodes]
    return tuple(sorted(cards, key=lambda card: not card.is_open))


def clinical_story(client: Client, user: User) -> BodyStory | None:
    """What was done to the client's body; None for who may not see it: it is never fetched."""
    return body_story(client) if user.is_clinical else None


def worklist(user: User, number: str, *, today: date) -> Page[DueLine]:
    """A page of what is due in a therapist's own open episodes, longest overdue first.

    What decides is read for all of them as plain values; whole episodes only for the page shown.
    """
    mine = with_phase(episodes_for(user).filter(therapist=user, client__deactivated_at=None))
    facts = _facts(mine.exclude(phase_now=Phase.DISCHARGED))
    due = [
        (item, key)
        for key, fact in facts.items()
        for item in due_items(fact)
        if item.due_on <= today
    ]
    due.sort(key=lambda line: (line[0].due_on, line[0].kind, line[1]))
    page = Paginator(due, WORKLIST_LENGTH).get_page(number)
    shown = with_phase(episodes_for(user)).in_bulk([key for _, key in page.object_list])
    page.object_list = [
        DueLine(shown[key], item, item.is_overdue(today)) for item, key in page.object_list
    ]
    return page


def history_page(client: Client, number: str) -> Page[Any]:
    """One page of the client's record history, each entry with its sentence."""
    page = Paginator(history_of(client), HISTORY_LENGTH).get_page(number)
    page.object_list = [(entry, sentence(entry.verb)) for entry in page.object_list]
    return page


def _joined(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    """Episodes with their phase and their regions with the latest findings."""
    findings = Prefetch(
        "findings", LimbFindings.objects.order_by("-found_on", "-recorded_at"), to_attr="looks"
    )
    regions = Prefetch("regions", AffectedRegion.objects.prefetch_related(findings))
    return with_phase(episodes).prefetch_related(regions).order_by("-opened_on", "pk")


def _facts(episodes: QuerySet[Episode]) -> dict[UUID, EpisodeFacts]:
    """What the due list of each episode rests on. Five queries, however many episodes."""
    keys = episodes.order_by().values("pk")
    regions, taped = _regions_of(keys), _last_taped(keys)
    girth_drafts, letters = _girth_drafts(keys), _letters(keys)
    columns = ("pk", "opened_on", "phase_now", "referrer__letter_frequency")
    wishes = episodes.values_list(*columns, "client__agrees_to_letters")
    return {
        key: EpisodeFacts(
            opened_on=opened_on,
            phase=Phase(phase),
            last_taped_on={
                limb: taped.get((key, limb))
                for limb in LIMB_OF.values()
                if any(limb == region for region, _, _ in regions[key])
            },
            unstaged_regions=tuple(
                str(AffectedRegion(region=region, side=side))
                for region, side, is_staged in regions[key]
                if not is_staged
            ),
            letter_frequency=frequency if agrees else None,
            last_letter_to=letters.get(key, NO_LETTER)[0],
            girth_draft_on=_day(girth_drafts.get(key)),
            letter_draft_on=_day(letters.get(key, NO_LETTER)[1]),
        )
        for key, opened_on, phase, frequency, agrees in wishes
    }


def _regions_of(keys: QuerySet[Any]) -> dict[UUID, list[tuple[str, str, bool]]]:
    """(region, side, whether a stage was decided) of each episode."""
    staged = Exists(LimbFindings.objects.filter(region=OuterRef("pk")))
    found: defaultdict[UUID, list[tuple[str, str, bool]]] = defaultdict(list)
    rows = AffectedRegion.objects.filter(episode__in=keys).annotate(is_staged=staged)
    for key, *region in rows.values_list("episode_id", "region", "side", "is_staged"):
        found[key].append(tuple(region))
    return found


def _last_taped(keys: QuerySet[Any]) -> dict[tuple[UUID, str], date]:
    live = GirthSession.objects.filter(episode__in=keys, struck_at=None).order_by()
    rows = live.values_list("episode_id", "limb").annotate(last_on=Max("taken_on"))
    return {(key, limb): last_on for key, limb, last_on in rows}


def _girth_drafts(keys: QuerySet[Any]) -> dict[UUID, datetime]:
    drafts = GirthDraft.objects.filter(episode__in=keys).order_by()
    return dict(drafts.values_list("episode_id").annotate(kept_at=Max("saved_at")))


def _letters(keys: QuerySet[Any]) -> dict[UUID, tuple[date | None, datetime | None]]:
    """(last day of the last approved letter, when the draft was compiled) of each episode."""
    approved = Q(letters__approved_at__isnull=False)
    written = Episode.objects.filter(pk__in=keys, letters__isnull=False).order_by()
    rows = written.values_list("pk").annotate(
        to=Max("letters__period_to", filter=approved),
        draft_at=Min("letters__compiled_at", filter=~approved),
    )
    return {key: (to, draft_at) for key, to, draft_at in rows}


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


def _day(moment: datetime | None) -> date | None:
    return timezone.localtime(moment).date() if moment else None

"""Reads about garments: an episode's, what is worn now, and what is due to be replaced."""

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any

from django.db.models import Exists, Min, OuterRef, Prefetch, QuerySet, Subquery

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.clients.selectors import current_phase
from clinic.common.vocabulary import Phase, Region, RegionSide
from programmes.compression.words import BodyPart, Worn, WornBy, wear_words
from programmes.models import FitCheck, Garment

PART_OF = {Region.ARM: BodyPart.ARM, Region.LEG: BodyPart.LEG}


def garments_for(user: User) -> QuerySet[Garment]:
    """The garments this person may see, with episode, client and who recorded them joined."""
    if not permits.may(user, "garments.see"):
        return Garment.objects.none()
    return Garment.objects.select_related("episode__client", "recorded_by")


def garments_of(episode: Episode) -> list[Garment]:
    """An episode's garments with their fit checks, awaited and newest first. Two queries."""
    checks = Prefetch("fit_checks", FitCheck.objects.select_related("checked_by"))
    return list(episode.garments.select_related("recorded_by").prefetch_related(checks))


def fit_checks_of(garment: Garment) -> QuerySet[FitCheck]:
    """A garment's fit checks, latest first."""
    return garment.fit_checks.select_related("checked_by")


def worn_now(episode: Episode) -> list[Garment]:
    """Issued and not ended, one for each place and time of day, latest issued. One query."""
    return _worn(episode.garments.filter(issued_on__isnull=False, ended_on=None))


def usual_place(episode: Episode) -> dict[str, str]:
    """Body part and side of the first limb the episode treats, for a new garment. One query."""
    for each in episode.regions.all():
        if each.region in PART_OF:
            return {"part": PART_OF[Region(each.region)], "side": each.side}
    return {}


def replacement_of_episode() -> Subquery:
    """The first day on which a garment in use of the outer query's episode is to be replaced.

    None without one. A garment is left out once another was issued later for the same place and
    time of day: the first of two in turn is replaced by the second.
    """
    own = _newest_in_use().filter(episode=OuterRef("pk"), replacement_due_on__isnull=False)
    return Subquery(own.order_by("replacement_due_on").values("replacement_due_on")[:1])


def replacements() -> QuerySet[Any, Any]:
    """Rows of (episode, the same day), for a query over everybody."""
    dated = _newest_in_use().filter(replacement_due_on__isnull=False).values("episode")
    return dated.annotate(due_on=Min("replacement_due_on")).values_list("episode", "due_on")


def _newest_in_use() -> QuerySet[Garment]:
    """Garments issued and not ended, the last one of each place and time of day."""
    later = Garment.objects.filter(
        episode=OuterRef("episode"),
        part=OuterRef("part"),
        side=OuterRef("side"),
        worn_by=OuterRef("worn_by"),
        issued_on__gt=OuterRef("issued_on"),
        ended_on=None,
    )
    in_use = Garment.objects.filter(issued_on__isnull=False, ended_on=None)
    return in_use.exclude(Exists(later)).order_by()


def wear_text(episode: Episode, *, since_on: date | None = None) -> str:
    """The schedule of wear in a client's words, from the garments in use; empty without any.

    With `since_on`, empty unless a garment was issued or ended on that day or later. In an
    intensive phase only garments issued in that phase count, because bandages are worn instead of
    older ones. At most two queries.
    """
    issued = list(episode.garments.filter(issued_on__isnull=False))
    if since_on and not any(_changed_since(each, since_on) for each in issued):
        return ""
    worn = _worn(each for each in issued if each.is_worn)
    phase = current_phase(episode)
    if phase.phase == Phase.INTENSIVE:
        worn = [each for each in worn if each.issued_on and each.issued_on >= phase.since_on]
    return wear_words(_in_words(worn))


def _changed_since(garment: Garment, day: date) -> bool:
    return any(each >= day for each in (garment.issued_on, garment.ended_on) if each)


def _worn(issued: Iterable[Garment]) -> list[Garment]:
    """The first for each place and time of day; they come latest issued first."""
    latest: dict[tuple[str, str, str], Garment] = {}
    for each in issued:
        latest.setdefault((each.part, each.side, each.worn_by), each)
    return list(latest.values())


def _in_words(garments: Iterable[Garment]) -> Iterator[Worn]:
    for each in sorted(garments, key=lambda one: (one.worn_by, one.part, one.side)):
        yield Worn(
            BodyPart(each.part), RegionSide(each.side), WornBy(each.worn_by), each.class_name
        )

"""Where every open episode stands on the caseload: reckoned by the database, a page at a time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any
from uuid import UUID

from django.db import connection, transaction
from django.db.models import QuerySet
from django.utils import timezone

from clinic.accounts.models import User
from clinic.clients.models import AffectedRegion, Episode, region_name
from clinic.clients.selectors import clients_matching, episodes_for
from clinic.common.vocabulary import Phase, Precaution, Region, RegionSide, Stage
from clinic.overview import caseload_sql as sql
from clinic.overview.caseload import EVERYONE, MINE, Asked
from clinic.overview.caseload_facts import ANSWERED_ON, EARLY_LIMIT, Elsewhere
from clinic.overview.concern import RED_FLAG_DAYS, Concern
from clinic.overview.due import LETTER_AFTER
from clinic.overview.facts import letter_days
from clinic.scheduling import recalls as rules
from clinic.scheduling.selectors.authorisations import STILL_TO_COME
from clinic.scheduling.states import FREED, HOLDING, Status
from clinic.scheduling.words import Purpose
from measurements.limb.error import Z_95
from programmes.body.precautions import effects_of
from programmes.selectors.garments import replacements

LAST_ROW = 2**31  # no list is longer

Params = dict[str, Any]


@dataclass(frozen=True)
class Places:
    """Of everything found how many of each concern and how many are sorted by old numbers; and
    the episodes of the page asked for, or of the last one, in order."""

    counts: Mapping[Concern, int]
    behind: int
    keys: Sequence[UUID]

    @property
    def total(self) -> int:
        return sum(self.counts.values())


def chosen_episodes(user: User, asked: Asked) -> QuerySet[Episode]:
    """What the person may see, by therapist, region and words; discharged ones are left out
    later."""
    chosen = episodes_for(user).filter(client__deactivated_at=None)
    if asked.whose == MINE:
        chosen = chosen.filter(therapist=user)
    elif asked.whose != EVERYONE:
        chosen = chosen.filter(therapist=int(asked.whose))
    if asked.region:
        within = AffectedRegion.objects.filter(region=asked.region).values("episode")
        chosen = chosen.filter(pk__in=within)
    if asked.words:
        chosen = chosen.filter(client__in=clients_matching(user, asked.words))
    return chosen.order_by()


def places(chosen: QuerySet[Episode], asked: Asked, elsewhere: Elsewhere, *, length: int) -> Places:
    """Places the chosen episodes that are open and fit. One query, and one that prepares it."""
    parts, params = _parts(chosen)
    params |= {"phase": asked.phase, "length": length}
    params |= {"from": min((asked.page - 1) * length, LAST_ROW)}
    params |= _fixed() | _days(elsewhere.today) | _found(elsewhere)
    # Compiling a query of a tenth of a second takes the database several of them.
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL jit = off")
        cursor.execute(_statement(asked, parts), params)
        *counted, behind, keys = cursor.fetchone()
    return Places(dict(zip(Concern, counted, strict=True)), behind, keys or ())


# The statement


def _statement(asked: Asked, parts: Mapping[str, str]) -> str:
    start = (sql.OPENED, sql.EXAMINED, sql.STANDINGS, sql.CARE, sql.FOUND, sql.WEIGHED, sql.PAGE)
    return "".join(start).format(
        **parts, **sql.RANKS, filters=_filters(asked), order=_order(asked), counts=sql.COUNTS
    )


def _filters(asked: Asked) -> str:
    wanted = [
        sql.JUDGED[asked.judged] if asked.judged else "",
        sql.DUE[asked.due] if asked.due else "",
        sql.FLAGGED[asked.flag] if asked.flag else "",
    ]
    return " AND ".join(f"({each})" for each in wanted if each) or "true"


def _order(asked: Asked) -> str:
    """Turned round, those without a value stay last, and those alike by name."""
    way = "DESC" if asked.is_descending else "ASC"
    keys = (f"{key} {way} NULLS LAST" for key in sql.ORDERED[asked.order])
    return ", ".join((*keys, *sql.BY_NAME))


def _parts(chosen: QuerySet[Episode]) -> tuple[dict[str, str], Params]:
    """The ORM's queries as text with named parameters, and these."""
    columns = ("pk", "client_id", "opened_on", "therapist_id", "referrer_id")
    queries = {
        "chosen": chosen.values_list(*columns),
        "letters": letter_days(),
        "garments": replacements(),
    }
    parts: dict[str, str] = {}
    params: Params = {}
    for name, query in queries.items():
        text, values = query.query.sql_with_params()
        names = [f"{name}_{place}" for place, _ in enumerate(values)]
        escaped = text.replace("%%", "%%%%")
        parts[name] = escaped % tuple(f"%({each})s" for each in names)
        params |= dict(zip(names, values, strict=True))
    return parts, params


# What the rules name


@cache
def _fixed() -> Params:
    """What the rules name, whatever the day."""
    words = [(region, side) for region in Region for side in RegionSide]
    after = {wish: interval.months for wish, interval in LETTER_AFTER.items()}
    return {
        "stages": [each.value for each in Stage],
        "every_phase": [each.value for each in Phase],
        "regions": [region.value for region, _ in words],
        "sides": [side.value for _, side in words],
        "region_names": [region_name(*each) for each in words],
        "early_limit": EARLY_LIMIT.limit,
        "z_95": Z_95,
        "barring": [each.value for each in Precaution if effects_of([each]).barring],
        "to_come": [each.value for each in STILL_TO_COME],
        "freed": sorted(each.value for each in FREED),
        "held": sorted(each.value for each in HOLDING),
        "fitting": Purpose.GARMENT_FITTING.value,
        "treatment": Purpose.TREATMENT.value,
        "done": Status.DONE.value,
        "weeks": rules.INTENSIVE_WEEKS,
        "wishes": list(after),
        "wish_months": list(after.values()),
        "phases": [each.value for each in rules.USUAL_MONTHS],
        "phase_months": list(rules.USUAL_MONTHS.values()),
        "report_every": rules.REPORT_EVERY_VISITS,
        "report_notice": rules.REPORT_NOTICE_VISITS,
    }


def _days(today: date) -> Params:
    return {
        "today": today,
        "near_on": today + timedelta(days=rules.LOOK_AHEAD_DAYS),
        "recent_on": today - timedelta(days=RED_FLAG_DAYS),
        "missed_on": today - timedelta(days=rules.MISSED_WITHIN_DAYS),
        "now": timezone.now(),
        "zone": timezone.get_current_timezone_name(),
    }


def _found(elsewhere: Elsewhere) -> Params:
    """What was found in Python, as columns."""
    plans = {
        episode_id: min(each.due_on for each in owed)
        for (_, episode_id), told in elsewhere.plans.items()
        if (owed := [each for each in told if each.reason in ANSWERED_ON])
    }
    held = elsewhere.withdrawals
    return {
        "held_ids": list(held),
        "held_on": [min(one.found_on for one in each.found) for each in held.values()],
        "held_urgent": [each.is_urgent for each in held.values()],
        "level_ids": list(elsewhere.level),
        "level_on": list(elsewhere.level.values()),
        "plan_ids": list(plans),
        "plan_on": list(plans.values()),
    }

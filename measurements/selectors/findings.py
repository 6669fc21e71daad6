"""Reads of findings and stages."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.clients.models import AffectedRegion
from clinic.clients.selectors import episodes_for
from clinic.common.vocabulary import Region, Stage, Word
from measurements.limb.staging import SkinChange, Symptom
from measurements.models import LimbFindings


@dataclass(frozen=True)
class FindingsShown:
    """One look at a region in words. `suggested` is None when the findings did not decide."""

    found_on: date
    recorded_at: datetime
    found_by: str
    stage: Stage
    suggested: Stage | None
    because: tuple[str, ...]
    override_reason: str
    answers: tuple[tuple[str, str], ...]
    note: str

    @property
    def is_overridden(self) -> bool:
        return self.suggested is not self.stage


def regions_for(user: User) -> QuerySet[AffectedRegion]:
    """The affected regions this person may see, with episode and client joined."""
    seen = AffectedRegion.objects.filter(episode__in=episodes_for(user))
    return seen.select_related("episode__client")


def findings_history(region: AffectedRegion) -> list[FindingsShown]:
    """Every look at a region, latest first. One query."""
    rows = region.findings.select_related("found_by").order_by("-found_on", "-recorded_at")
    return [_shown(row) for row in rows]


def latest_findings(
    regions: Iterable[AffectedRegion], *, until: date | None = None
) -> dict[int, FindingsShown]:
    """Region id -> its latest look, up to a day if one is given. One query.

    A region never looked at is absent.
    """
    found = LimbFindings.objects.filter(region__in=[region.pk for region in regions])
    if until is not None:
        found = found.filter(found_on__lte=until)
    rows = (
        found.select_related("found_by")
        .order_by("region_id", "-found_on", "-recorded_at")
        .distinct("region_id")
    )
    return {row.region_id: _shown(row) for row in rows}


def stemmer_site(region: AffectedRegion) -> str:
    """Where the fold is lifted: the toe for a leg, the finger for an arm, none elsewhere."""
    sites = {Region.LEG: "base of the second toe", Region.ARM: "base of the second finger"}
    return sites.get(Region(region.region), "")


def _shown(row: LimbFindings) -> FindingsShown:
    return FindingsShown(
        found_on=row.found_on,
        recorded_at=row.recorded_at,
        found_by=row.found_by.signature,
        stage=Stage(row.stage),
        suggested=Stage(row.suggested_stage) if row.suggested_stage else None,
        because=tuple(row.suggested_because),
        override_reason=row.override_reason,
        answers=_answers(row),
        note=row.note,
    )


def _answers(row: LimbFindings) -> tuple[tuple[str, str], ...]:
    return (
        ("swelling seen", "yes" if row.swelling_visible else "no"),
        ("pitting", row.get_pitting_display()),
        ("response to elevation", row.get_elevation_display()),
        ("Stemmer sign", row.get_stemmer_display()),
        ("fibrosis", row.get_fibrosis_display()),
        ("skin", _labels(SkinChange, row.skin_changes)),
        ("symptoms", _labels(Symptom, row.symptoms)),
    )


def _labels(words: type[Word], values: Iterable[str]) -> str:
    """The labels of stored values in the vocabulary's order; a value no longer known as it is."""
    stored = list(values)
    known = [word.label for word in words if word.value in stored]
    unknown = [value for value in stored if value not in {word.value for word in words}]
    return ", ".join([*known, *unknown]) or "none noted"

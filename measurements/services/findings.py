"""Keeping findings and the stage that a therapist decided on them.

RuleBroken
└── FindingsError
    ├── OverrideWithoutReason   a stage other than the suggested one needs a reason
    └── FoundOnImpossible       a day in the future, or before the client was born
"""

from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import AffectedRegion
from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Stage
from measurements.limb.staging import Findings, StageSuggestion, suggest_stage
from measurements.models import LimbFindings


class FindingsError(RuleBroken):
    """A rule about findings was broken."""


@dataclass(eq=False)
class OverrideWithoutReason(FindingsError):
    """The stage decided is not the suggested one (None: none was suggested), without a reason."""

    suggested: Stage | None
    decided: Stage
    field = "override_reason"


@dataclass(eq=False)
class FoundOnImpossible(FindingsError):
    """Findings of a day that has not come, or before the client was born."""

    found_on: date
    field = "found_on"


@dataclass(frozen=True)
class Decision:
    """The stage decided on a day's findings, why if not the suggested one, and a note."""

    found_on: date
    stage: Stage
    override_reason: str = ""
    note: str = ""


@transaction.atomic
def record_findings(
    *, region: AffectedRegion, findings: Findings, decision: Decision, by: User
) -> LimbFindings:
    """Keep one look at a region with the stage suggested and decided. Raises FindingsError.

    The suggestion is made anew from the findings, whatever the page showed. Source of the
    suggestion: `limb.staging`.
    """
    suggestion = suggest_stage(findings)
    _check(region, suggestion, decision)
    kept = LimbFindings.objects.create(
        region=region,
        found_by=by,
        found_on=decision.found_on,
        suggested_stage=suggestion.stage or "",
        suggested_because=list(suggestion.because),
        stage=decision.stage,
        override_reason=decision.override_reason if _is_override(suggestion, decision) else "",
        note=decision.note,
        **_columns(findings),
    )
    audit.record(by, "stage.decided", client=region.episode.client, subject=kept)
    return kept


def _check(region: AffectedRegion, suggestion: StageSuggestion, decision: Decision) -> None:
    if not region.episode.client.born_on <= decision.found_on <= timezone.localdate():
        raise FoundOnImpossible(decision.found_on)
    if _is_override(suggestion, decision) and not decision.override_reason.strip():
        raise OverrideWithoutReason(suggestion.stage, decision.stage)


def _is_override(suggestion: StageSuggestion, decision: Decision) -> bool:
    return decision.stage is not suggestion.stage


def _columns(findings: Findings) -> dict[str, object]:
    return {
        "swelling_visible": findings.swelling_visible,
        "pitting": findings.pitting,
        "elevation": findings.elevation,
        "stemmer": findings.stemmer,
        "fibrosis": findings.fibrosis,
        "skin_changes": sorted(findings.skin_changes),
        "symptoms": sorted(findings.symptoms),
    }

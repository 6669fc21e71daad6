"""Acts about findings and the stage decided."""

from collections.abc import Iterator
from typing import Any

from clinic.audit import services as audit
from clinic.clients.models import Episode
from clinic.common.vocabulary import Stage as IslStage
from clinic.demo.scenario import Story
from clinic.demo.stage import Act, Stage
from measurements.limb.staging import (
    Elevation,
    Fibrosis,
    Findings,
    Pitting,
    SkinChange,
    Stemmer,
    Symptom,
    suggest_stage,
)
from measurements.models import LimbFindings


def acts_of_findings(story: Story, episode: Episode, stage: Stage) -> Iterator[Act]:
    for told in story.findings:
        yield _finding_act(told, episode, stage)


def _finding_act(told: dict[str, Any], episode: Episode, stage: Stage) -> Act:
    return Act(told["day"], 6, lambda: _decide(told, episode, stage))


def findings_of(told: dict[str, Any]) -> Findings:
    """What was seen and felt, as the fixture tells it."""
    return Findings(
        swelling_visible=told["seen"],
        pitting=Pitting(told["pitting"]),
        elevation=Elevation(told.get("elevation", "not_tested")),
        stemmer=Stemmer(told["stemmer"]),
        fibrosis=Fibrosis(told["fibrosis"]),
        skin_changes=frozenset(SkinChange(each) for each in told.get("skin", ())),
        symptoms=frozenset(Symptom(each) for each in told.get("symptoms", ())),
    )


def _decide(told: dict[str, Any], episode: Episode, stage: Stage) -> None:
    found = findings_of(told)
    suggestion = suggest_stage(found)
    region, side = told["region"]
    row = LimbFindings.objects.create(
        region=episode.regions.get(region=region, side=side),
        found_on=stage.day(told["day"]),
        found_by=episode.therapist,
        swelling_visible=found.swelling_visible,
        pitting=found.pitting,
        elevation=found.elevation,
        stemmer=found.stemmer,
        fibrosis=found.fibrosis,
        skin_changes=sorted(found.skin_changes),
        symptoms=sorted(found.symptoms),
        suggested_stage=suggestion.stage or "",
        suggested_because=list(suggestion.because),
        stage=IslStage(told["stage"]) if "stage" in told else suggestion.stage,
        override_reason=told.get("override", ""),
    )
    audit.record(episode.therapist, "stage.decided", client=episode.client, subject=row)

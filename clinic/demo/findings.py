"""Acts about findings and the stage decided on them."""

from collections.abc import Iterator
from typing import Any

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
from measurements.services.findings import Decision, record_findings


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
    """The stage is the suggested one, unless the story names another and says why."""
    findings = findings_of(told)
    region, side = told["region"]
    decided = told.get("stage") or suggest_stage(findings).stage
    record_findings(
        region=episode.regions.get(region=region, side=side),
        findings=findings,
        decision=Decision(
            found_on=stage.day(told["day"]),
            stage=IslStage(str(decided)),
            override_reason=told.get("override", ""),
        ),
        by=episode.therapist,
    )

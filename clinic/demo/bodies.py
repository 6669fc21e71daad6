"""Acts about clients and what was done to them, through the services that a page would call."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from clinic.accounts.models import User
from clinic.clients import services
from clinic.clients.models import (
    AffectedRegion,
    CancerTreatment,
    Client,
    DrugTreatment,
    Episode,
    Irradiation,
    NodeSurgery,
    PrecautionFound,
    Surgery,
)
from clinic.common.vocabulary import Phase
from clinic.demo.scenario import Story, demo_id
from clinic.demo.stage import Act, Stage

# What a treatment in the fixture is, by the key that names it: model and field of that key.
TREATMENTS: dict[str, tuple[type[CancerTreatment], str]] = {
    "surgery": (Surgery, "operation"),
    "nodes": (NodeSurgery, "procedure"),
    "radiation": (Irradiation, "field"),
    "drugs": (DrugTreatment, "drugs"),
}
FIELD_OF = {"removed": "nodes_removed", "positive": "nodes_positive"}
DAYS = {"day": "done_on", "until": "ended_on"}


def client_of(story: Story, stage: Stage) -> Client:
    """The client as the fixture tells them, not saved yet."""
    told = {**story.client}
    agrees = told.pop("agrees_to_letters", "yes") == "yes"
    return Client(
        id=story.client_id,
        born_on=date.fromisoformat(told.pop("born_on")),
        referrer=stage.cast.referrers[story.episode["referrer"]],
        agrees_to_letters=agrees,
        **told,
    )


def episode_of(story: Story, client: Client, stage: Stage) -> Episode:
    """The episode as the fixture tells it, not saved yet."""
    told = story.episode
    return Episode(
        id=demo_id("episode", story.name),
        client=client,
        opened_on=stage.day(story.opened),
        cause=told["cause"],
        diagnosis=told["diagnosis"],
        dominant_hand=told["dominant_hand"],
        therapist=stage.cast.staff[told["therapist"]],
        referrer=stage.cast.referrers[told["referrer"]],
        referral_reason=told.get("referral_reason", ""),
    )


def acts_of_body(story: Story, episode: Episode, stage: Stage) -> Iterator[Act]:
    """Registering, opening, treatments, precautions and phases."""
    yield Act(story.registered, 0, lambda: _register(story, episode.client, stage))
    yield Act(story.opened, 1, lambda: _open(story, episode))
    for told in story.treatments:
        yield _treatment_act(told, story, episode, stage)
    for told in story.precautions:
        yield from _precaution_acts(told, episode, stage)
    for told in story.phases[1:]:
        yield _phase_act(told, episode, stage)


def _register(story: Story, client: Client, stage: Stage) -> None:
    services.register_client(
        client=client, by=stage.cast.front_desk, is_deliberate=bool(story.not_the_same_as)
    )


def _open(story: Story, episode: Episode) -> None:
    regions = [
        AffectedRegion(region=region, side=side, involvement=involvement)
        for region, side, involvement in story.episode["regions"]
    ]
    first = story.phases[0]
    services.open_episode(
        episode=episode,
        regions=regions,
        phase=Phase(first["phase"]),
        reason=first["reason"],
        by=episode.therapist,
    )


def _treatment_act(told: dict[str, Any], story: Story, episode: Episode, stage: Stage) -> Act:
    """Written down when the episode opens, or when it was over if that came later."""
    key = next(name for name in TREATMENTS if name in told)
    model, field = TREATMENTS[key]
    values = {FIELD_OF.get(name, name): value for name, value in told.items() if name != key}
    dated = {DAYS[name]: stage.day(values.pop(name)) for name in DAYS.keys() & values.keys()}
    treatment = model(**{"client": episode.client, field: told[key], **values, **dated})
    known = max(story.opened, told.get("until", told["day"]))
    return Act(known, 2, lambda: services.add_treatment(treatment=treatment, by=episode.therapist))


def _precaution_acts(told: dict[str, Any], episode: Episode, stage: Stage) -> Iterator[Act]:
    by: User = episode.therapist
    found = PrecautionFound(
        client=episode.client,
        precaution=told["precaution"],
        found_on=stage.day(told["found"]),
        note=told.get("note", ""),
    )
    yield Act(told["found"], 3, lambda: services.record_precaution(found=found, by=by))
    if "cleared" in told:
        cleared_on = stage.day(told["cleared"])
        yield Act(
            told["cleared"],
            3,
            lambda: services.clear_precaution(
                found=found, cleared_on=cleared_on, reason=told["because"], by=by
            ),
        )


def _phase_act(told: dict[str, Any], episode: Episode, stage: Stage) -> Act:
    return Act(
        told["day"],
        4,
        lambda: services.change_phase(
            episode=episode,
            phase=Phase(told["phase"]),
            since_on=stage.day(told["day"]),
            reason=told["reason"],
            by=episode.therapist,
        ),
    )

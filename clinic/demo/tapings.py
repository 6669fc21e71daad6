"""Acts about girths and findings.

Sessions are kept as `measurements.services.record` keeps them, log entry included, but without its
questions about unusual girths and with the readings of a client in one insert: hundreds of
sessions have to be there in seconds.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import time
from decimal import Decimal
from random import Random
from typing import Any

from clinic.audit import services as audit
from clinic.clients.models import Episode
from clinic.common.vocabulary import Side
from clinic.demo.scenario import Story, Taping, demo_id
from clinic.demo.shape import between, taped_girths_cm
from clinic.demo.stage import Act, Stage
from measurements.forms.girth_sheet import girth_name
from measurements.models import GirthReading, GirthSession, Protocol
from measurements.services.drafts import keep_draft
from measurements.services.record import strike_session

# Changing it changes every girth of the demo.
SEED = "20260304"

HUNDRED_GRAMS = Decimal("0.1")


class Tape:
    """Keeps readings back until something has to read them, and protocols at hand."""

    def __init__(self) -> None:
        self.waiting: list[GirthReading] = []
        self.protocols: dict[str, Protocol] = {}

    def flush(self) -> None:
        GirthReading.objects.bulk_create(self.waiting)
        self.waiting = []

    def protocol_in_use(self, name: str) -> Protocol:
        if name not in self.protocols:
            in_use = Protocol.objects.prefetch_related("stations").filter(retired_at=None)
            self.protocols = {each.name: each for each in in_use}
        return self.protocols[name]

    def forget_protocols(self) -> None:
        self.protocols = {}


def acts_of_tapings(story: Story, episode: Episode, stage: Stage, tape: Tape) -> Iterator[Act]:
    """Every measuring session, those struck out included, and a draft left unfinished."""
    for taping in story.tapings:
        taper = Taper(story, taping, episode, stage, tape)
        yield from (taper.act(day) for day in taping.days)
        if taping.unfinished:
            yield taper.unfinished_act(taping.unfinished)


@dataclass(frozen=True)
class Taper:
    """Tapes one kind of limb of one client, session by session."""

    story: Story
    taping: Taping
    episode: Episode
    stage: Stage
    tape: Tape

    def act(self, day: int) -> Act:
        return Act(day, 5, lambda: self._take(day))

    def unfinished_act(self, told: dict[str, Any]) -> Act:
        return Act(told["day"], 8, lambda: _leave_unfinished(told, self))

    def _take(self, day: int) -> None:
        by = self.episode.therapist
        session = self._session(day)
        self.tape.waiting += self._readings(session, day)
        audit.record(by, "girths.recorded", client=self.episode.client, subject=session)
        if day in self.taping.struck:
            self.tape.flush()
            strike_session(session=session, reason=self.taping.struck[day], by=by)

    def _session(self, day: int) -> GirthSession:
        name, taping = self.story.name, self.taping
        weight_kg = Decimal(between(taping.weight_kg, self.stage.days_ago(day)))
        return GirthSession.objects.create(
            id=demo_id("session", f"{name} {taping.limb} {day}"),
            episode=self.episode,
            protocol=self.tape.protocol_in_use(taping.protocol),
            limb=taping.limb,
            taken_on=self.stage.day(day),
            taken_at=_hour(name, day),
            posture=taping.posture,
            weight_kg=weight_kg.quantize(HUNDRED_GRAMS),
            note=taping.notes.get(day, ""),
            is_baseline=day == taping.days[0],
            taken_by=self.episode.therapist,
        )

    def _readings(self, session: GirthSession, day: int) -> list[GirthReading]:
        levels = [station.level_cm for station in session.protocol.stations.all()]
        girths = taped_girths_cm(
            self.taping.body(self.story.sex),
            [float(level) for level in levels],
            day=self.stage.days_ago(day),
            seed=f"{SEED} {self.story.name}",
            in_inches=self.taping.in_inches,
        )
        return [
            GirthReading(session=session, side=side, level_cm=level, girth_cm=girth)
            for side, taped in girths.items()
            for level, girth in zip(levels, taped, strict=True)
        ]


def _hour(story: str, day: int) -> time | None:
    """Some hour of the day; none for today's, which may be loaded at any hour."""
    hour = 8 + Random(f"{story} {day}").randrange(9)  # noqa: S311 - a story
    return time(hour, 15) if day else None


def _leave_unfinished(told: dict[str, Any], taper: Taper) -> None:
    protocol = taper.tape.protocol_in_use(taper.taping.protocol)
    typed = {
        "protocol": str(protocol.pk),
        "taken_on": taper.stage.day(told["day"]).isoformat(),
        "posture": taper.taping.posture.value,
        "sides": "both",
        "trials": "1",
        "length_unit": "cm",
        "weight_unit": "kg",
    }
    levels = [float(station.level_cm) for station in protocol.stations.all()]
    for side in Side:
        typed |= _typed_girths(side, levels, told[f"{side}_cm"])
    episode = taper.episode
    keep_draft(episode=episode, limb=taper.taping.limb, typed=typed, by=episode.therapist)


def _typed_girths(side: Side, levels: Sequence[float], girths: Sequence[str]) -> dict[str, str]:
    return {girth_name(side, level, 1): girth for level, girth in zip(levels, girths, strict=False)}

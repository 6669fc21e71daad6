"""Visits charted: past appointments get their notes, through the services that the page calls."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.demo import scenario
from clinic.demo.clock import clock_at, moment_of, nth_working_day
from clinic.demo.desk import DESK_HOUR
from clinic.demo.scenario import demo_id
from clinic.demo.stage import Stage
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import wall
from clinic.scheduling.states import Status
from clinic.visits.lists import Service
from clinic.visits.models import VisitNote
from clinic.visits.services.notes import begin_note, copy_forward, save_note
from clinic.visits.services.signing import add_addendum, cosign_note, sign_note
from clinic.visits.typed import NoteTyped, TreatmentTyped
from clinic.visits.words import Section, VisitKind
from programmes.services.care import Asked, Told, record_adherence, review_precautions

# How long after the client has gone the note is written.
WRITTEN_AFTER = timedelta(minutes=10)


@dataclass(frozen=True)
class Visit:
    """One visit with what is told of it."""

    appointment: Appointment
    episode: Episode
    told: dict[str, Any]
    stage: Stage

    @property
    def on(self) -> date:
        return wall(self.appointment.period.lower).date()

    @property
    def written_at(self) -> datetime:
        ends_at: datetime = self.appointment.period.upper
        return min(ends_at + WRITTEN_AFTER, timezone.now())

    @property
    def by(self) -> User:
        name = self.told.get("by")
        return self.stage.cast.staff[name] if name else self.episode.therapist


def chart_visits(stage: Stage) -> None:
    """Every note in the order of the visits, then what was added to some of them."""
    services = {service.code: service.pk for service in Service.objects.all()}
    visits = sorted(_visits(stage), key=lambda visit: visit.written_at)
    notes = [(visit, _chart(visit, services)) for visit in visits]
    for visit, note in notes:
        _add(visit, note)


def _visits(stage: Stage) -> Iterator[Visit]:
    """Each story's visits of the days before today, one told note each."""
    for story, charted in scenario.charting()["stories"].items():
        notes = charted.get("notes", [])
        if not notes:
            continue
        episode = Episode.objects.select_related("client", "therapist").get(
            pk=demo_id("episode", story)
        )
        done = Appointment.objects.filter(client=episode.client, status=Status.DONE)
        before = done.filter(period__endswith__lt=moment_of(stage.today, time.min))
        rows = before.select_related("kind").order_by("period")
        for appointment, told in zip(rows, notes, strict=True):
            yield Visit(appointment, episode, told, stage)


def _chart(visit: Visit, services: dict[str, int]) -> VisitNote:
    """Begun, asked, written and, unless it is left open, signed."""
    with clock_at(visit.written_at):
        note = begin_note(
            episode=visit.episode,
            kind=VisitKind(visit.appointment.kind.purpose),
            visited_on=visit.on,
            by=visit.by,
            appointment=visit.appointment,
        )
        _ask(visit)
        if copied := visit.told.get("copied"):
            sections = [Section(name) for name in copied]
            note = copy_forward(note=note, sections=sections, by=visit.by)
        typed = _typed(visit.told, note, services)
        note = save_note(note=note, typed=typed, revision=note.revision, by=visit.by)
        if visit.told.get("is_open"):
            return note
        return sign_note(note=note, revision=note.revision, by=visit.by)


def _ask(visit: Visit) -> None:
    asked = Asked(visit.on, note=visit.told.get("precautions", ""))
    review_precautions(client=visit.episode.client, asked=asked, by=visit.by)
    if "days_done" in visit.told:
        told = Told(visit.on, visit.told["days_done"])
        record_adherence(episode=visit.episode, told=told, by=visit.by)


def _typed(told: dict[str, Any], note: VisitNote, services: dict[str, int]) -> NoteTyped:
    return NoteTyped(
        visit_min=note.visit_min,
        sections={each: told[each.value] for each in Section if each.value in told},
        treatments=tuple(
            TreatmentTyped(services[code], minutes, *remark)
            for code, minutes, *remark in told.get("treatment", ())
        ),
    )


def _add(visit: Visit, note: VisitNote) -> None:
    """The co-signature and the addendum of a note, each on its working day."""
    told, stage = visit.told, visit.stage
    if cosigned := told.get("cosigned"):
        with clock_at(_later(cosigned["day"], note, stage)):
            cosign_note(note=note, by=stage.cast.staff[cosigned["by"]])
    if addendum := told.get("addendum"):
        with clock_at(_later(addendum["day"], note, stage)):
            add_addendum(note=note, text=addendum["text"], by=visit.by)


def _later(number: int, note: VisitNote, stage: Stage) -> datetime:
    """Some hour of a working day, after the note was signed and not later than now."""
    signed_at = note.signed_at or timezone.now()
    at = moment_of(nth_working_day(stage.today, number), DESK_HOUR)
    return min(max(at, signed_at), timezone.now())

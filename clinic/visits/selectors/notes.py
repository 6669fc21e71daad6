"""Reads of visit notes: the page of one visit, lists, and what waits for somebody."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from django.db.models import Q, QuerySet, prefetch_related_objects

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import AffectedRegion, Client, Episode, PhaseChange, PrecautionFound
from clinic.clients.selectors import client_card, episodes_for, precautions_of
from clinic.common.vocabulary import Phase, Precaution
from clinic.scheduling.ranges import zone
from clinic.scheduling.selectors.cards import BookingCard, appointments_for, booking_card
from clinic.scheduling.states import HOLDING
from clinic.visits.desk import (
    AddendumShown,
    CareDesk,
    ChangeSince,
    PrecautionDesk,
    RedFlagDesk,
    RegionDesk,
    ServiceOffered,
    SetAsideText,
    TreatmentDesk,
    TreatmentLine,
    VisitDesk,
)
from clinic.visits.errors import NoteNotSigned
from clinic.visits.models import SetAside, TreatmentEntry, VisitNote
from clinic.visits.selectors import earlier, filling, flags
from clinic.visits.selectors.lists import charting_rules, phrases, services_on
from clinic.visits.selectors.plan_facts import plan_standing
from clinic.visits.selectors.sheets import signed_sheet
from clinic.visits.sheet import NoteSheet
from clinic.visits.timing import TimingRule, Treated, explanation, units_of, warnings
from clinic.visits.typed import from_json
from clinic.visits.words import NoteState
from measurements.models import GirthSession
from measurements.report import LimbCourse
from measurements.selectors.findings import FindingsShown, latest_findings
from measurements.selectors.reports import episode_course
from measurements.selectors.scores import latest_scores
from measurements.selectors.taped import sessions_listed
from programmes.body.precautions import effects_of
from programmes.models import PrecautionReview
from programmes.selectors.adherence import adherence_of

PEOPLE = ("therapist", "edited_by", "signed_by", "cosigned_by")


def notes_for(user: User) -> QuerySet[VisitNote]:
    """The notes this person may see, with episode, client and people joined."""
    if not permits.may(user, "notes.see"):
        return VisitNote.objects.none()
    seen = VisitNote.objects.filter(episode__in=episodes_for(user))
    return seen.select_related(
        *PEOPLE, "episode__client__referrer", "episode__referrer", "episode__therapist"
    )


def notes_of(episode: Episode) -> QuerySet[VisitNote]:
    """Every note of an episode, latest first, people joined. One query."""
    return VisitNote.objects.filter(episode=episode).select_related(*PEOPLE).defer("signed")


def unsigned_notes(user: User) -> QuerySet[VisitNote]:
    """This person's drafts, and notes that wait for a co-signature she may give, oldest first."""
    wanted = Q(signed_at=None, therapist=user)
    if user.is_clinical and not user.needs_cosignature:
        waits = Q(signed_at__isnull=False, needs_cosignature=True, cosigned_at=None)
        wanted |= waits & ~Q(signed_by=user)
    found = notes_for(user).filter(wanted).defer("signed")
    return found.order_by("visited_on", "begun_at")


@dataclass(frozen=True)
class _Record:
    """What the record says up to the day of a visit, read once."""

    regions: list[AffectedRegion]
    phases: list[PhaseChange]
    precautions: list[PrecautionFound]
    sessions: list[GirthSession]
    looks: dict[int, FindingsShown]
    before: VisitNote | None

    def phase_on(self, on: date) -> PhaseChange:
        begun = [each for each in self.phases if each.since_on <= on]
        return begun[-1] if begun else self.phases[0]

    def changes(self, until: date) -> tuple[ChangeSince, ...]:
        return earlier.changes_since(
            self.before,
            earlier.phase_changes(self.phases),
            earlier.precaution_changes(self.precautions),
            earlier.sessions_taped(self.sessions),
            earlier.looks_taken(self.regions, self.looks),
            until=until,
        )


def _record(note: VisitNote) -> _Record:
    episode = note.episode
    prefetch_related_objects([episode], "regions", "phase_changes")
    regions = list(episode.regions.all())
    return _Record(
        regions=regions,
        phases=list(episode.phase_changes.all()),
        precautions=list(precautions_of(episode.client)),
        sessions=[one for one in sessions_listed([episode]) if one.taken_on <= note.visited_on],
        looks=latest_findings(regions, until=note.visited_on),
        before=earlier.note_before(note),
    )


def visit_desk(note: VisitNote, user: User) -> VisitDesk:
    """All that the page of a visit shows, as of its day, in a fixed number of queries.

    The note comes from `notes_for`. The course is computed from every session up to that day.
    """
    record, episode, on = _record(note), note.episode, note.visited_on
    phase = record.phase_on(on)
    courses = episode_course(episode, listed=record.sessions)
    regions = tuple(_region(each, record.looks.get(each.pk), on) for each in record.regions)
    treatment, care = treatment_desk(note), care_desk(episode, on)
    booking, last = next_booking(note, user), earlier.last_note(record.before)
    values = (
        filling.visit_values(note, treatment, last, booking)
        | filling.record_values(regions, courses)
        | filling.standing_values(care.standing)
        | {"phase": Phase(phase.phase).label}
    )
    return VisitDesk(
        note=note,
        client=episode.client,
        card=client_card(episode.client),
        episode=episode,
        phase=Phase(phase.phase),
        phase_since_on=phase.since_on,
        sections=filling.section_desks(note, list(phrases()), values),
        last_note=last,
        changes=record.changes(on),
        precautions=_precautions(episode.client, record.precautions, on),
        courses=courses,
        regions=regions,
        treatment=treatment,
        adherence=adherence_of(episode),
        care=care,
        scores=latest_scores(episode),
        signs=flags.signs_of(note),
        red_flags=_red_flags(note, record, courses),
        next_booking=booking,
        set_aside=_set_aside(note, user),
        addenda=addenda_of(note),
        user_may_cosign=may_cosign(note, user),
    )


def found_red_flags(note: VisitNote) -> tuple[RedFlagDesk, ...]:
    """The red flags of a visit alone, for the service that keeps what was done."""
    record = _record(note)
    return _red_flags(note, record, episode_course(note.episode, listed=record.sessions))


def _red_flags(
    note: VisitNote, record: _Record, courses: Sequence[LimbCourse]
) -> tuple[RedFlagDesk, ...]:
    latest = [course.latest for course in courses]
    seen = flags.visit_signs(
        note,
        [each for each in latest if each.facts.taken_on == note.visited_on],
        phase=Phase(record.phase_on(note.visited_on).phase),
        regions=record.regions,
        regions_then=record.before.regions_then if record.before else None,
    )
    return flags.flags_shown(seen, note.red_flags.select_related("seen_by"))


def _region(region: AffectedRegion, latest: FindingsShown | None, on: date) -> RegionDesk:
    return RegionDesk(region, latest, is_today=bool(latest and latest.found_on == on))


def _precautions(client: Client, found: Sequence[PrecautionFound], on: date) -> PrecautionDesk:
    """Those open on the day: one cleared that day no longer stands."""
    stood = tuple(
        each
        for each in found
        if each.found_on <= on and (each.cleared_on is None or each.cleared_on > on)
    )
    reviews = PrecautionReview.objects.filter(client=client, asked_on=on)
    return PrecautionDesk(
        open=stood,
        review=reviews.select_related("asked_by").first(),
        effects=effects_of(Precaution(each.precaution) for each in stood),
    )


def treatment_desk(note: VisitNote) -> TreatmentDesk:
    """The treatment entered, its units and how they came about. Three queries."""
    entries = list(note.treatments.select_related("service"))
    rule = TimingRule(charting_rules().timing_rule)
    treated = [Treated(one.service.code, one.minutes, one.service.is_timed) for one in entries]
    count = units_of(treated, rule=rule)
    units = count.units_by_code()
    return TreatmentDesk(
        lines=tuple(_line(entry, units[entry.service.code]) for entry in entries),
        services=tuple(
            ServiceOffered(one.pk, one.code, one.name, one.is_timed)
            for one in services_on(note.visited_on)
        ),
        rule=rule,
        count=count,
        explanation=explanation(count),
        warnings=warnings(count, visit_minutes=note.visit_min),
    )


def _line(entry: TreatmentEntry, units: int) -> TreatmentLine:
    service = entry.service
    return TreatmentLine(
        service_id=service.pk,
        code=service.code,
        name=service.name,
        is_timed=service.is_timed,
        minutes=entry.minutes,
        units=units,
        remark=entry.remark,
    )


def care_desk(episode: Episode, on: date) -> CareDesk:
    """The plan of care in force and where it stands on a day. Six queries."""
    plan = episode.plans.filter(signed_at__isnull=False, ended_on=None).defer("signed").first()
    return CareDesk(plan, plan_standing(episode, on))


def next_booking(note: VisitNote, user: User) -> BookingCard | None:
    """The client's first booking after the day of the visit. One query."""
    after = datetime.combine(note.visited_on, time.max, tzinfo=zone())
    coming = appointments_for(user).filter(
        client=note.episode.client_id,
        status__in=sorted(one.value for one in HOLDING),
        period__startswith__gt=after,
    )
    first = coming.order_by("period").first()
    return booking_card(first) if first else None


def _set_aside(note: VisitNote, user: User) -> tuple[SetAsideText, ...]:
    """Everybody's texts that wait for a choice; each is chosen by who typed it."""
    rows = note.set_aside.filter(settled_at=None).select_related("kept_by")
    return tuple(_text_of(row, user) for row in rows)


def _text_of(row: SetAside, user: User) -> SetAsideText:
    *before, latest = (from_json(text) for text in row.typed["texts"])
    return SetAsideText(
        row=row,
        typed=latest,
        earlier=tuple(before),
        kept_by=row.kept_by.signature,
        is_own=row.kept_by_id == user.pk,
    )


def note_sheet(note: VisitNote) -> NoteSheet:
    """The signed content for reading and print, from the snapshot. Raises NoteNotSigned."""
    if note.signed is None:
        raise NoteNotSigned
    return signed_sheet(note, addenda_of(note))


def addenda_of(note: VisitNote) -> tuple[AddendumShown, ...]:
    """What was added later, oldest first. One query."""
    found = note.addenda.values_list("text", "signature", "written_at")
    return tuple(AddendumShown(*row) for row in found)


def may_cosign(note: VisitNote, user: User) -> bool:
    waits = note.state is NoteState.AWAITING_COSIGNATURE
    suits = user.is_clinical and not user.needs_cosignature
    return waits and suits and user.pk != note.signed_by_id

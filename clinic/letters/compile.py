"""Gathers the frozen `ProgressSummary` of an episode and a period from the record.

A fixed number of queries for each kind, whatever the record holds. The record as it is on the day:
compiled afresh for every look at a draft, and kept for good when the letter is approved.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from itertools import groupby

from django.db.models import Max

from clinic.accounts.models import Practice
from clinic.accounts.selectors import practice_card
from clinic.clients.diagnoses import DIAGNOSES
from clinic.clients.models import (
    AffectedRegion,
    CancerTreatment,
    Episode,
    NodeSurgery,
    PhaseChange,
    Referrer,
)
from clinic.clients.selectors import BodyStory, body_story
from clinic.common.vocabulary import Involvement, Limb, Phase, Stage
from clinic.letters.compile_care import care_of, ending_of
from clinic.letters.compile_precautions import pauses_of, precautions_told
from clinic.letters.errors import NothingTaped
from clinic.letters.kinds import LetterKind
from clinic.letters.models import ProgressLetter
from clinic.letters.occasion import Occasion
from clinic.letters.selectors import last_approved, stage_findings
from clinic.letters.summary import (
    SUMMARY_VERSION,
    Addressee,
    Adherence,
    ClientNamed,
    Diagnosis,
    Letterhead,
    LimbNumbers,
    Look,
    Measured,
    Plateau,
    ProgressSummary,
    StageFound,
)
from clinic.scheduling.selectors.recalls import months_kept
from clinic.visits.models import VisitNote
from measurements.limb.course import DecongestionVerdict
from measurements.limb.volume import METHOD
from measurements.models import GirthSession, LimbFindings
from measurements.report import (
    Caution,
    CoursePoint,
    LimbCourse,
    LimbPoint,
    PhaseDecongestion,
    SessionReport,
)
from measurements.selectors.reports import episode_course
from measurements.selectors.taped import sessions_listed, swollen_side
from programmes.selectors.adherence import adherence_of

__all__ = ["LETTER_METHOD", "Occasion", "progress_summary"]

# What a stored summary names as its making: the letter's own version, then that of the volumes.
LETTER_METHOD = f"letter {SUMMARY_VERSION}; {METHOD}"
ENDS = LetterKind.DISCHARGE

# Cautions of a session that change how a reader should take its numbers.
TOLD = (Caution.POSTURE, Caution.BOTH_ROSE)


def progress_summary(episode: Episode, occasion: Occasion) -> ProgressSummary:
    """Everything the paper says. Raises NothingTaped for a letter when no girths reach into it."""
    before = last_approved(episode, occasion.kind)
    listed = sessions_listed([episode])
    courses = courses_of(episode, occasion, listed)
    regions = list(episode.regions.all())
    limbs = watched_told_apart(
        limb_numbers(courses, occasion, before, measured_since(listed, occasion)), regions
    )
    if not limbs and occasion.kind is LetterKind.LETTER:
        raise NothingTaped(occasion.period_to)
    story, found = body_story(episode.client), stage_findings(episode, occasion.period_to)
    phase, since_on = phase_on(episode.phase_changes.all(), occasion.period_to)
    return ProgressSummary(
        version=SUMMARY_VERSION,
        method=LETTER_METHOD,
        letterhead=letterhead(practice_card()),
        addressee=addressee(occasion.referrer),
        client=client_named(episode),
        diagnosis=diagnosis(episode, regions),
        cancer_treatment=treatment_line(story),
        stages=stages_of(found),
        phase=phase,
        phase_since_on=since_on,
        precautions=precautions_told(story),
        limbs=limbs,
        period_from=occasion.period_from,
        period_to=occasion.period_to,
        last_letter_on=before.period_to if before else None,
        measured_count=measured_count(limbs, occasion),
        written_on=occasion.written_on,
        signed_by=occasion.signed_by.signature,
        adherence=adherence(episode, occasion),
        kind=occasion.kind,
        every_months=months_kept(episode),
        care=care_of(episode, occasion, courses) if occasion.kind.is_report else None,
        ending=ending_of(episode, occasion, found) if occasion.kind is ENDS else None,
        phase_before=phase_on(episode.phase_changes.all(), occasion.period_from)[0],
        seen_on=seen_on(episode, occasion.period_to),
        untaped=untaped(regions),
        pauses=pauses_of(episode.client, occasion),
    )


def seen_on(episode: Episode, until_on: date) -> date | None:
    """The last visit with a signed note up to a day. One query."""
    signed = VisitNote.objects.filter(
        episode=episode, signed_at__isnull=False, visited_on__lte=until_on
    )
    found: date | None = signed.aggregate(last_on=Max("visited_on"))["last_on"]
    return found


def courses_of(
    episode: Episode, occasion: Occasion, listed: Iterable[GirthSession]
) -> tuple[LimbCourse, ...]:
    """No paper knows what was taped after its period: it could hide what the period showed."""
    return episode_course(
        episode, listed=[each for each in listed if each.taken_on <= occasion.period_to]
    )


def adherence(episode: Episode, occasion: Occasion) -> Adherence | None:
    """What was told of the home programme in the period; None where nobody was asked."""
    told = adherence_of(episode).between(occasion.period_from, occasion.period_to)
    if told.mean_days is None:
        return None
    return Adherence(len(told.records), told.mean_days, told.hard_places)


def letterhead(practice: Practice) -> Letterhead:
    return Letterhead(
        name=practice.name,
        street=practice.street,
        town=practice.town,
        phone=practice.phone,
        fax=practice.fax,
        email=practice.email,
        paper_size=practice.paper_size,
        weight_shown=practice.weight_shown,
    )


def addressee(referrer: Referrer | None) -> Addressee:
    """Whom it is sent to; a report without a referrer goes to the payer alone."""
    if referrer is None:
        return Addressee("To the payer", "", "", "", "")
    return Addressee(
        name=str(referrer),
        speciality=referrer.speciality,
        organisation=referrer.organisation,
        street=referrer.street,
        town=referrer.town,
    )


def client_named(episode: Episode) -> ClientNamed:
    client = episode.client
    return ClientNamed(
        name=f"{client.given_name} {client.family_name}",
        born_on=client.born_on,
        record_number=client.record_number,
    )


def diagnosis(episode: Episode, regions: Iterable[AffectedRegion]) -> Diagnosis:
    return Diagnosis(
        code=episode.diagnosis,
        words=DIAGNOSES[episode.diagnosis],
        regions=tuple(f"{each} ({Involvement(each.involvement).label})" for each in regions),
    )


def untaped(regions: Iterable[AffectedRegion]) -> tuple[str, ...]:
    """What is swollen and no girth can measure."""
    swollen = (each for each in regions if each.involvement == Involvement.SWOLLEN)
    return tuple(str(each) for each in swollen if each.region not in set(Limb))


def treatment_line(story: BodyStory) -> str:
    """All cancer treatment in one line, by month: "Mar 2021 right mastectomy; May 2021 ...".

    Treatments of one month share its name; those of unknown day come last without one.
    """
    told = [treatment for _, treatment in story.treatments]
    by_month = groupby(told, key=_month)
    return "; ".join(
        f"{month} {', '.join(_treatment(each) for each in group)}".strip()
        for month, group in by_month
    )


def _month(treatment: CancerTreatment) -> str:
    return f"{treatment.done_on:%b %Y}" if treatment.done_on else ""


def _treatment(treatment: CancerTreatment) -> str:
    ended_on = getattr(treatment, "ended_on", None)
    until = f" (to {ended_on:%b %Y})" if ended_on else ""
    if isinstance(treatment, NodeSurgery) and treatment.nodes_positive is not None:
        return str(treatment).replace(" nodes)", f" nodes, {treatment.nodes_positive} positive)")
    return f"{treatment}{until}"


def stages_of(found: Sequence[LimbFindings]) -> tuple[StageFound, ...]:
    """The latest stage of each region."""
    latest = {each.region_id: each for each in found}
    return tuple(
        StageFound(str(each.region), Stage(each.stage).label, each.found_on)
        for each in latest.values()
    )


def phase_on(changes: Iterable[PhaseChange], on: date) -> tuple[Phase, date]:
    """The phase on a day and since when; the first phase for a day before all changes."""
    known = list(changes)
    change = next((each for each in reversed(known) if each.since_on <= on), known[0])
    return Phase(change.phase), change.since_on


def measured_count(limbs: Iterable[LimbNumbers], occasion: Occasion) -> int:
    days = {point.taken_on for numbers in limbs for point in numbers.points}
    return sum(occasion.period_from <= on <= occasion.period_to for on in days)


# The numbers


def limb_numbers(
    courses: Iterable[LimbCourse],
    occasion: Occasion,
    before: ProgressLetter | None,
    since: frozenset[str],
) -> tuple[LimbNumbers, ...]:
    """The numbers of each limb taped up to the end of the period; `since`: limbs taped after it."""
    known = list(courses)
    told = first_sessions(known) if occasion.kind is ENDS else told_sessions(before)
    found = (_numbers(course, occasion, told) for course in known)
    return tuple(_looked_at(each) if each.limb in since else each for each in found if each)


def _looked_at(numbers: LimbNumbers) -> LimbNumbers:
    """As it is told once the limb was taped again."""
    return replace(numbers, rose_suddenly=False, both_rose=False)


def watched_told_apart(
    limbs: Iterable[LimbNumbers], regions: Sequence[AffectedRegion]
) -> tuple[LimbNumbers, ...]:
    """A limb that is watched only is not called affected."""
    return tuple(
        replace(
            numbers,
            is_at_risk=bool(numbers.affected_side) and not swollen_side(numbers.limb, regions),
        )
        for numbers in limbs
    )


def measured_since(listed: Iterable[GirthSession], occasion: Occasion) -> frozenset[str]:
    """The limbs taped again after the period: a sudden rise of theirs was looked at since."""
    return frozenset(each.limb for each in listed if each.taken_on > occasion.period_to)


def first_sessions(courses: Iterable[LimbCourse]) -> frozenset[str]:
    """What a discharge summary sets the last session against."""
    return frozenset(str(course.points[0].session_id) for course in courses if course.points)


def told_sessions(before: ProgressLetter | None) -> frozenset[str]:
    """The sessions that the last paper of this kind called "now"."""
    stored = (before.summary or {}).get("limbs", []) if before else []
    return frozenset(numbers["now"]["session_id"] for numbers in stored)


def _numbers(course: LimbCourse, occasion: Occasion, told: frozenset[str]) -> LimbNumbers | None:
    points = course.points
    if not points or course.section is None:
        return None
    looks = tuple(map(_look, points))
    latest = course.latest if course.latest.facts.id == points[-1].session_id else None
    facts = course.latest.facts
    return LimbNumbers(
        limb=course.limb,
        affected_side=course.affected_side,
        is_bilateral=course.is_bilateral,
        now=looks[-1],
        last=next((look for look in looks if look.session_id in told), None),
        baseline=_baseline(points, looks),
        points=looks,
        protocol=facts.protocol,
        start_landmark=facts.start_landmark,
        from_cm=course.section.from_cm,
        to_cm=course.section.to_cm,
        is_shorter=course.section_is_shorter,
        rose_suddenly=bool(latest and Caution.SUDDEN_RISE in latest.cautions),
        cautions=_told_cautions(latest),
        plateaus=plateaus_of(course, occasion),
        both_rose=bool(latest and Caution.BOTH_ROSE in latest.cautions),
    )


def plateaus_of(course: LimbCourse, occasion: Occasion) -> tuple[Plateau, ...]:
    """Of an intensive phase that runs or ended in the period."""
    return tuple(
        plateau
        for each in course.decongestion
        if each.from_on <= occasion.period_to
        if each.ended_on is None or each.ended_on >= occasion.period_from
        if (plateau := _plateau(each, occasion.period_to))
    )


def _plateau(phase: PhaseDecongestion, until_on: date) -> Plateau | None:
    """None where the volume approaches no plateau: the numbers of the letter say what it does.

    A phase that ended after `until_on` was running then.
    """
    has_ended = phase.ended_on is not None and phase.ended_on <= until_on
    fit = phase.told
    if fit is None and phase.found.verdict is not DecongestionVerdict.TOO_EARLY:
        return None
    return Plateau(
        side=phase.side,
        is_excess=phase.is_excess,
        ended_on=phase.ended_on if has_ended else None,
        value_ml=fit.plateau_ml if fit else None,
        low_ml=fit.plateau_interval_ml.low if fit else None,
        high_ml=fit.plateau_interval_ml.high if fit else None,
        within_on=fit.within_on if fit else None,
        is_reached=phase.found.is_at_plateau,
    )


def _baseline(points: Sequence[CoursePoint], looks: Sequence[Look]) -> Look | None:
    pairs = zip(points, looks, strict=True)
    return next((look for point, look in pairs if point.is_baseline), None)


def _told_cautions(latest: SessionReport | None) -> tuple[str, ...]:
    return tuple(each.label for each in TOLD if latest and each in latest.cautions)


def _look(point: CoursePoint) -> Look:
    return Look(
        session_id=str(point.session_id),
        taken_on=point.taken_on,
        left=_own(point.left),
        right=_own(point.right),
        excess=_measured(point.excess_ml, point.error_ml),
        percent=_measured(point.percent, point.percent_error),
        weight_kg=point.weight_kg,
    )


def _own(limb: LimbPoint | None) -> Measured | None:
    return Measured(limb.volume_ml, limb.volume_error_ml) if limb else None


def _measured(value: float | None, error: float | None) -> Measured | None:
    return None if value is None or error is None else Measured(value, error)

"""All that the page of one visit shows, as frozen values. Made by `visits.selectors.notes`.

Minutes are whole; volumes travel in the reports of `measurements` with their errors.
"""

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from clinic.clients.models import AffectedRegion, Client, Episode, PrecautionFound
from clinic.clients.selectors import ClientCard
from clinic.common.vocabulary import Phase
from clinic.scheduling.selectors.cards import BookingCard
from clinic.visits.errors import Lack, MissingPart
from clinic.visits.models import SetAside, VisitNote
from clinic.visits.phrases import Filled
from clinic.visits.plan_dates import PlanStanding
from clinic.visits.plans import PlanOfCare
from clinic.visits.red_flags import RedFlag, Sign
from clinic.visits.timing import TimingRule, TimingWarning, UnitCount
from clinic.visits.typed import NoteTyped
from clinic.visits.words import NoteState, Section, VisitKind
from measurements.report import LimbCourse, PhaseDecongestion, SessionReport
from measurements.score_report import ScoreStanding
from measurements.selectors.findings import FindingsShown
from programmes.body.precautions import Effect, Effects
from programmes.models import PrecautionReview
from programmes.selectors.adherence import AdherenceStory


@dataclass(frozen=True)
class LastNote:
    """The note before this one: the last signed one, else the last drafted."""

    id: UUID
    visited_on: date
    kind: VisitKind
    therapist: str
    plan: str
    state: NoteState


@dataclass(frozen=True)
class ChangeSince:
    """One thing that came into the record since the last note."""

    on: date
    text: str


@dataclass(frozen=True)
class PhraseOffered:
    """A phrase of the clinic with the client's numbers in it, ready to be put into a section."""

    id: int
    name: str
    filled: Filled


@dataclass(frozen=True)
class SectionDesk:
    """One written part of the note. `is_copied`: taken over and not touched since."""

    section: Section
    text: str
    is_copied: bool
    phrases: tuple[PhraseOffered, ...]


@dataclass(frozen=True)
class PrecautionDesk:
    """What stands against treating on the day of the visit, and whether it was asked then."""

    open: tuple[PrecautionFound, ...]
    review: PrecautionReview | None
    effects: Effects

    @property
    def is_asked(self) -> bool:
        return self.review is not None

    @property
    def barring(self) -> tuple[Effect, ...]:
        """Absolute precautions: no treatment is planned or charted while one stands."""
        return self.effects.barring

    @property
    def asks_to_be_cleared(self) -> tuple[Effect, ...]:
        """Relative precautions on every manual step: a clinician decides and says so."""
        return self.effects.awaiting_clearance


@dataclass(frozen=True)
class RegionDesk:
    """One affected region with its latest look. `is_today`: looked at on the day of the visit."""

    region: AffectedRegion
    latest: FindingsShown | None
    is_today: bool

    @property
    def name(self) -> str:
        return str(self.region)


@dataclass(frozen=True)
class ServiceOffered:
    """A service that the clinic provides on the day of the visit."""

    id: int
    code: str
    name: str
    is_timed: bool


@dataclass(frozen=True)
class TreatmentLine:
    """One treatment entered; `units` are those of its code for the whole day."""

    service_id: int
    code: str
    name: str
    is_timed: bool
    minutes: int
    units: int
    remark: str


@dataclass(frozen=True)
class TreatmentDesk:
    """The treatment of the visit with its units, how they came about, and what looks odd."""

    lines: tuple[TreatmentLine, ...]
    services: tuple[ServiceOffered, ...]
    rule: TimingRule
    count: UnitCount
    explanation: tuple[str, ...]
    warnings: tuple[TimingWarning, ...]


@dataclass(frozen=True)
class RedFlagDesk:
    """A red flag of the visit, found now or acknowledged. `action` is "" while it is open."""

    flag: RedFlag
    action: str = ""
    seen_by: str = ""
    seen_at: datetime | None = None

    @property
    def is_acknowledged(self) -> bool:
        return self.seen_at is not None


@dataclass(frozen=True)
class SetAsideText:
    """What one person had typed when another had saved first; `earlier` the older ones, if any."""

    row: SetAside
    typed: NoteTyped
    earlier: tuple[NoteTyped, ...]
    kept_by: str
    is_own: bool


@dataclass(frozen=True)
class AddendumShown:
    text: str
    signature: str
    written_at: datetime


@dataclass(frozen=True)
class CareDesk:
    """Where the plan of care stands. `plan` is the one in force, None without one."""

    plan: PlanOfCare | None
    standing: PlanStanding | None


@dataclass(frozen=True)
class VisitDesk:
    """The whole page. `courses` are as of the day of the visit, arm first."""

    note: VisitNote
    client: Client
    card: ClientCard
    episode: Episode
    phase: Phase
    phase_since_on: date
    sections: tuple[SectionDesk, ...]
    last_note: LastNote | None
    changes: tuple[ChangeSince, ...]
    precautions: PrecautionDesk
    courses: tuple[LimbCourse, ...]
    regions: tuple[RegionDesk, ...]
    treatment: TreatmentDesk
    adherence: AdherenceStory
    care: CareDesk
    scores: tuple[ScoreStanding, ...]
    signs: frozenset[Sign]
    red_flags: tuple[RedFlagDesk, ...]
    next_booking: BookingCard | None
    set_aside: tuple[SetAsideText, ...]
    addenda: tuple[AddendumShown, ...]
    user_may_cosign: bool

    @property
    def state(self) -> NoteState:
        return self.note.state

    @property
    def is_draft(self) -> bool:
        return self.note.state is NoteState.DRAFT

    @property
    def measured_today(self) -> tuple[SessionReport, ...]:
        """Reports of the sessions taped on the day of the visit, arm first."""
        latest = (course.latest for course in self.courses)
        return tuple(each for each in latest if each.facts.taken_on == self.note.visited_on)

    @property
    def decongestion(self) -> tuple[PhaseDecongestion, ...]:
        return tuple(each for course in self.courses for each in course.decongestion)

    @property
    def open_red_flags(self) -> tuple[RedFlagDesk, ...]:
        return tuple(each for each in self.red_flags if not each.is_acknowledged)

    @property
    def own_set_aside(self) -> SetAsideText | None:
        """This person's own text that waits for a choice."""
        return next((each for each in self.set_aside if each.is_own), None)

    @property
    def adherence_today(self) -> AdherenceStory:
        on = self.note.visited_on
        return self.adherence.between(on, on)

    def text(self, section: Section) -> str:
        return next(each.text for each in self.sections if each.section is section)

    @property
    def missing(self) -> tuple[MissingPart, ...]:
        """Every part without which the note cannot be signed, in the order of the page."""
        return missing_parts(self)


def missing_parts(desk: VisitDesk) -> tuple[MissingPart, ...]:
    """What keeps a note from being signed; empty when nothing does."""
    barring = tuple(effect.reason for effect in desk.precautions.barring)
    flags = tuple(each.flag.kind.label for each in desk.open_red_flags)
    past = _past_visit(desk)
    is_lacking: dict[Lack, tuple[bool, tuple[str, ...]]] = {
        Lack.PRECAUTIONS: (not desk.precautions.is_asked, ()),
        Lack.BARRED: (bool(barring and desk.treatment.lines), barring),
        Lack.SUBJECTIVE: (not desk.text(Section.SUBJECTIVE), ()),
        Lack.PLAN: (not desk.text(Section.PLAN), ()),
        Lack.TREATMENT: (_lacks_treatment(desk), ()),
        Lack.VISIT_MIN: (bool(desk.treatment.lines) and desk.note.visit_min is None, ()),
        Lack.PAST_VISIT: (bool(past), past),
        Lack.RED_FLAG: (bool(flags), flags),
        Lack.SET_ASIDE: (desk.own_set_aside is not None, ()),
    }
    return tuple(MissingPart(lack, why) for lack, (lacks, why) in is_lacking.items() if lacks)


def _lacks_treatment(desk: VisitDesk) -> bool:
    """A treatment visit without treatment, unless a precaution bars it."""
    is_treatment = desk.note.kind == VisitKind.TREATMENT
    return is_treatment and not desk.treatment.lines and not desk.precautions.barring


def _past_visit(desk: VisitDesk) -> tuple[str, ...]:
    visit_min, treated_min = desk.note.visit_min, desk.treatment.count.treatment_min
    if visit_min is None or treated_min <= visit_min:
        return ()
    return (f"{treated_min} minutes of treatment, {visit_min} of visit",)

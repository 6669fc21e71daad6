"""When a plan of care needs its next report and its next certification. Pure.

Counted from the record alone. A treatment day is a day on which the client was treated, however
often: two visits on one day are one treatment day; the day of the evaluation counts.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Word
from clinic.scheduling.recalls import REPORT_EVERY_VISITS, REPORT_NOTICE_VISITS

# A certified period is at most 90 calendar days from the first treatment, or the plan's own length
# if that is shorter: CMS Medicare Benefit Policy Manual (Pub. 100-02), chapter 15, 220.1.3.
CERTIFIED_DAYS = 90
# The physician's dated approval within 30 days of the first treatment: same chapter, 220.1.3.
CERTIFY_WITHIN_DAYS = 30

# How long before the end of a certification, and how long after its start when it is still open,
# a person is told; common practice, no source.
RECERTIFY_NOTICE_DAYS = 14
STILL_OPEN_NOTICE_DAYS = 21

# RuleBroken
# ├── PlanRuleOutOfRange
# └── CertificationBackwards


class PlanRuleOutOfRange(RuleBroken):
    """A rule of fewer than one day."""

    def __init__(self, field: str, days: int) -> None:
        super().__init__(field, days)
        self.field = field
        self.days = days


class CertificationBackwards(RuleBroken):
    """A certification that ends before it begins."""

    field = "to_on"

    def __init__(self, from_on: date, to_on: date) -> None:
        super().__init__(from_on, to_on)
        self.from_on = from_on
        self.to_on = to_on


@dataclass(frozen=True, slots=True)
class PlanRules:
    """The payer's rules as the clinic set them. Raises PlanRuleOutOfRange below one day.

    `report_every_days` are treatment days. `report_within_days` are calendar days from the first
    treatment day not yet reported; None: not asked for. Some payers' older texts ask for a report
    every 10 treatment days or 30 calendar days, whichever is less; the manual asks for the first.
    """

    report_every_days: int = REPORT_EVERY_VISITS
    certified_days: int = CERTIFIED_DAYS
    certify_within_days: int = CERTIFY_WITHIN_DAYS
    report_within_days: int | None = None

    def __post_init__(self) -> None:
        for name in ("report_every_days", "certified_days", "certify_within_days"):
            if getattr(self, name) < 1:
                raise PlanRuleOutOfRange(name, getattr(self, name))
        if self.report_within_days is not None and self.report_within_days < 1:
            raise PlanRuleOutOfRange("report_within_days", self.report_within_days)


@dataclass(frozen=True, slots=True)
class Certification:
    """One interval of certified treatment; its first day is day 1.

    `to_on` is the last day by the plan's own length, None where it names none. `certified_on` is
    the day of the physician's approval, None while it is open. Raises CertificationBackwards.
    """

    from_on: date
    to_on: date | None = None
    certified_on: date | None = None

    def __post_init__(self) -> None:
        if self.to_on is not None and self.to_on < self.from_on:
            raise CertificationBackwards(self.from_on, self.to_on)

    def last_day(self, rules: PlanRules) -> date:
        """The last day it can cover: the plan's own, or day 90 if that comes first."""
        longest = self.from_on + timedelta(days=rules.certified_days - 1)
        return longest if self.to_on is None else min(self.to_on, longest)


@dataclass(frozen=True, slots=True)
class PlanFacts:
    """What is on record of one episode, in any order, repeats and all.

    `reported_until` are the last days that the progress reports cover, which is where the next
    period starts, not the days they were written. `booked_on` are days of treatment to come.
    """

    treated_on: Sequence[date] = ()
    reported_until: Sequence[date] = ()
    certifications: Sequence[Certification] = ()
    booked_on: Sequence[date] = ()


class PlanWarning(Word):
    """What somebody should see to; the label is the sentence a person reads."""

    REPORT_SOON = "report_soon", "A progress report is due soon."
    REPORT_DUE = "report_due", "A progress report is due with this treatment day."
    REPORT_OVERDUE = "report_overdue", "A progress report is overdue."
    NO_PLAN = "no_plan", "The client has been treated without a plan of care in force."
    STILL_OPEN = "still_open", "The plan of care has not come back certified yet."
    NOT_CERTIFIED = "not_certified", "The time to have the plan of care certified is over."
    RECERTIFY_SOON = "recertify_soon", "The certification ends soon: recertify before it does."
    CERTIFICATION_ENDED = "certification_ended", "The certification has ended: recertify."


@dataclass(frozen=True, slots=True)
class ReportStanding:
    """How near the next progress report is.

    `since_last` are treatment days since the last one. `due_at_day` is the treatment day of the
    episode at which it is due, counted from 1. `due_on` is that day in the calendar, by what was
    done and is booked; None while no such day is booked. It is overdue from the day after.
    """

    since_last: int
    due_at_day: int
    due_on: date | None
    is_due: bool
    is_overdue: bool

    def days_to_go(self, rules: PlanRules) -> int:
        """Treatment days from now until it is due; 0 once it is."""
        return max(rules.report_every_days - self.since_last, 0)


@dataclass(frozen=True, slots=True)
class CertificationStanding:
    """The certification that counts today. `days_left` is 0 on its last day, below 0 after it."""

    from_on: date
    last_on: date
    days_left: int
    certify_by_on: date
    is_certified: bool

    @property
    def has_ended(self) -> bool:
        return self.days_left < 0


@dataclass(frozen=True, slots=True)
class PlanStanding:
    """Where an episode stands today. `certification` is None where there never was a plan."""

    treatment_days: int
    report: ReportStanding
    certification: CertificationStanding | None
    warnings: tuple[PlanWarning, ...] = ()

    @property
    def is_overdue(self) -> bool:
        """Whether a report is overdue, or a certification has ended or not come in time."""
        late = {
            PlanWarning.REPORT_OVERDUE,
            PlanWarning.NOT_CERTIFIED,
            PlanWarning.CERTIFICATION_ENDED,
        }
        return not late.isdisjoint(self.warnings)


def plan_standing(facts: PlanFacts, *, today: date, rules: PlanRules | None = None) -> PlanStanding:
    """Where the plan of care stands on a day, by the rules given or the manual's.

    Source: CMS Medicare Benefit Policy Manual (Pub. 100-02), chapter 15, 220.1.3 and 220.3 D.
    """
    rules = rules or PlanRules()
    treated = sorted({on for on in facts.treated_on if on <= today})
    report = _report(facts, treated, today, rules)
    certification = _certification(facts.certifications, today, rules)
    found = [*_report_warnings(report, rules), *_plan_warnings(certification, treated, today)]
    return PlanStanding(len(treated), report, certification, tuple(found))


def _report(facts: PlanFacts, treated: list[date], today: date, rules: PlanRules) -> ReportStanding:
    covered_until = max((on for on in facts.reported_until if on <= today), default=date.min)
    since = [on for on in treated if on > covered_until]
    days = since + sorted({on for on in facts.booked_on if on >= today}.difference(treated))
    every = rules.report_every_days
    due_on = _earliest(
        days[every - 1] if len(days) >= every else None, _calendar_limit(days, rules)
    )
    return ReportStanding(
        since_last=len(since),
        due_at_day=len(treated) - len(since) + every,
        due_on=due_on,
        is_due=due_on is not None and due_on <= today,
        is_overdue=due_on is not None and due_on < today,
    )


def _calendar_limit(days: list[date], rules: PlanRules) -> date | None:
    """The last calendar day of the period, its first treatment day being day 1."""
    if rules.report_within_days is None or not days:
        return None
    return days[0] + timedelta(days=rules.report_within_days - 1)


def _earliest(*days: date | None) -> date | None:
    return min((on for on in days if on is not None), default=None)


def _certification(
    certifications: Sequence[Certification], today: date, rules: PlanRules
) -> CertificationStanding | None:
    """The one begun last; one that begins later does not count yet."""
    begun = [each for each in certifications if each.from_on <= today]
    if not begun:
        return None
    current = max(begun, key=lambda each: (each.from_on, each.certified_on or date.min))
    last_on = current.last_day(rules)
    return CertificationStanding(
        from_on=current.from_on,
        last_on=last_on,
        days_left=(last_on - today).days,
        certify_by_on=current.from_on + timedelta(days=rules.certify_within_days),
        is_certified=current.certified_on is not None and current.certified_on <= today,
    )


def _report_warnings(report: ReportStanding, rules: PlanRules) -> Iterator[PlanWarning]:
    if report.is_overdue:
        yield PlanWarning.REPORT_OVERDUE
    elif report.is_due:
        yield PlanWarning.REPORT_DUE
    elif report.since_last and report.days_to_go(rules) <= REPORT_NOTICE_VISITS:
        yield PlanWarning.REPORT_SOON


def _plan_warnings(
    certification: CertificationStanding | None, treated: list[date], today: date
) -> Iterator[PlanWarning]:
    if certification is None:
        if treated:
            yield PlanWarning.NO_PLAN
        return
    if not certification.is_certified:
        if today > certification.certify_by_on:
            yield PlanWarning.NOT_CERTIFIED
        elif (today - certification.from_on).days >= STILL_OPEN_NOTICE_DAYS:
            yield PlanWarning.STILL_OPEN
    if certification.has_ended:
        yield PlanWarning.CERTIFICATION_ENDED
    elif certification.days_left <= RECERTIFY_NOTICE_DAYS:
        yield PlanWarning.RECERTIFY_SOON

"""The practice report: what was counted, as it may be shown, each number with what it means. Pure.

Small groups are hidden here, once; page, charts and file show nothing but these values. It tells
of the practice as a whole: nothing in it is by therapist.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from clinic.common.vocabulary import Phase, Word
from clinic.overview.report_dues import GRACE_DAYS, Kept
from clinic.overview.report_facts import PeriodFacts
from clinic.overview.report_limb_rules import Detection, Outcome
from clinic.overview.report_period import Period
from clinic.overview.small_groups import (
    Count,
    Middle,
    Parts,
    Share,
    counted,
    joined,
    middle,
    parts,
    share,
)
from clinic.scheduling.states import Status
from clinic.scheduling.words import Purpose

OPEN_PHASES = (Phase.SURVEILLANCE, Phase.INTENSIVE, Phase.MAINTENANCE)
NOT_CLOSED = (Status.BOOKED, Status.CONFIRMED, Status.ARRIVED, Status.IN_SESSION)
TOLD = (Outcome.FELL, Outcome.NOT_FALLEN)


class LineKind(Word):
    """How a line is written: a sum, a part of the sum above it, a count alone, and so on."""

    TOTAL = "total", "total"
    PART = "part", "part"
    COUNT = "count", "count"
    SHARE = "share", "share"
    MEDIAN = "median", "median"


class Unit(Word):
    """What a value counts; for a median, its unit."""

    NUMBER = "number", "number"
    PERCENT = "percent", "%"
    DAYS = "days", "days"
    DAYS_OF_SEVEN = "days_of_seven", "days of 7"


Figure = Count | Share | Middle
Both = Sequence[PeriodFacts]  # now, before
W = TypeVar("W", bound=Word)


@dataclass(frozen=True)
class Line:
    """One number now and in the period before, with what it means in one sentence."""

    name: str
    kind: LineKind
    now: Figure
    before: Figure
    means: str = ""
    unit: Unit = Unit.NUMBER


@dataclass(frozen=True)
class Section:
    """What belongs together; `is_drawn`: its parts are worth a chart."""

    key: str
    title: str
    lines: tuple[Line, ...]
    is_drawn: bool = False

    @property
    def parts(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.kind is LineKind.PART)


@dataclass(frozen=True)
class PracticeReport:
    """The whole report on a period beside the one before."""

    period: Period
    previous: Period
    sections: tuple[Section, ...]

    @property
    def shares(self) -> tuple[Line, ...]:
        return tuple(
            line
            for section in self.sections
            for line in section.lines
            if line.kind is LineKind.SHARE
        )

    @property
    def is_empty(self) -> bool:
        """Nothing was counted in either period."""
        return not any(map(_says_something, self._figures()))

    def _figures(self) -> Iterator[Figure]:
        for section in self.sections:
            for line in section.lines:
                yield from (line.now, line.before)


def _says_something(figure: Figure) -> bool:
    count = figure if isinstance(figure, Count) else figure.count
    return count.high > 0


def made_of(period: Period, both: Both) -> PracticeReport:
    """The report from what was counted in a period and in the one before it."""
    sections = (
        _referrals(both),
        _evaluations(both),
        _episodes(both),
        _visits(both),
        _intensive(both),
        _surveillance(both),
        _programmes(both),
        _letters(both),
    )
    return PracticeReport(period, period.previous, sections)


def _line(
    kind: LineKind, name: str, figures: Sequence[Figure], means: str = "", unit: Unit = Unit.NUMBER
) -> Line:
    now, before = figures
    return Line(name, kind, now, before, means, unit)


def _broken_down(
    names: Sequence[str], both: Sequence[Parts], *, total: str, means: str
) -> tuple[Line, ...]:
    """The total, what it means, and its parts that are not nought in both periods."""
    cells = zip(names, *(each.cells for each in both), strict=True)
    return (
        _line(LineKind.TOTAL, total, [each.total for each in both], means),
        *(
            _line(LineKind.PART, name, figures)
            for name, *figures in cells
            if any(figure.high for figure in figures)
        ),
    )


def _by(words: Iterable[W], found: Mapping[W, int]) -> Parts:
    return parts([found.get(word, 0) for word in words])


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]


def _named(words: Iterable[Word]) -> list[str]:
    return [_capital(word.label) for word in words]


def _referrals(both: Both) -> Section:
    spelt = _spelt_alike(both)
    counts = [[sum(facts.referrals.get(one, 0) for one in own) for own in spelt] for facts in both]
    ordered = sorted(zip(spelt, *counts, strict=True), key=_most_first)
    lines = _broken_down(
        [_capital(own[0]) for own, *_ in ordered],
        [parts(numbers) for numbers in zip(*(row[1:] for row in ordered), strict=True)]
        or [parts([]) for _ in both],
        total="Clients referred",
        means="Clients registered in the period, by the speciality of the referrer on their record"
        " (referrers are not named); records merged into one count once, from the older.",
    )
    return Section("referrals", "Referrals by source", lines, is_drawn=True)


def _most_first(row: tuple[list[str], int, int]) -> tuple[object, ...]:
    name, now, before = row
    return -now, -before, name


def _spelt_alike(both: Both) -> list[list[str]]:
    """The sources of both periods; those that differ in capitals only are one."""
    found: dict[str, set[str]] = {}
    for facts in both:
        for name in facts.referrals:
            found.setdefault(name.casefold(), set()).add(name)
    return [sorted(own) for own in found.values()]


def _evaluations(both: Both) -> Section:
    counts = [parts([len(facts.evaluation_days), facts.registered_later]) for facts in both]
    waits = [
        middle(facts.evaluation_days, people=len(facts.evaluation_days), count=told.cells[0])
        for facts, told in zip(both, counts, strict=True)
    ]
    lines = _broken_down(
        ["Time known", "Registered only after the evaluation: time not known"],
        counts,
        total="First evaluations",
        means="Clients whose first episode of care was opened in the period; later episodes of the"
        " same client do not count.",
    )
    wait = _line(
        LineKind.MEDIAN,
        "Time from referral to evaluation",
        waits,
        "Days from the day the client was registered to the day the first episode was opened.",
        Unit.DAYS,
    )
    return Section("evaluations", "From referral to evaluation", (wait, *lines))


def _episodes(both: Both) -> Section:
    lines = _broken_down(
        _named(OPEN_PHASES),
        [_by(OPEN_PHASES, facts.phases) for facts in both],
        total="Open episodes",
        means="Episodes of care not discharged on the last day of the period, by the phase of that"
        " day; clients deactivated by then are left out.",
    )
    return Section("episodes", "Episodes by phase", lines, is_drawn=True)


def _visits(both: Both) -> Section:
    kept = [_kept(facts) for facts in both]
    missed = [counted(_outcome(facts, Status.NO_SHOW)) for facts in both]
    due = [joined([no, yes.total]) for no, yes in zip(missed, kept, strict=True)]
    no_shows = _line(
        LineKind.SHARE,
        "No-show share",
        [share(each) for each in due],
        "Appointments noted as no-show, of those kept and those missed; cancelled ones count"
        " neither way.",
        Unit.PERCENT,
    )
    visits = _broken_down(
        _named(Purpose),
        kept,
        total="Visits",
        means="Appointments of the period noted as done, by what they were for.",
    )
    return Section("visits", "Visits", (no_shows, *visits, *_not_kept(both)), is_drawn=True)


def _kept(facts: PeriodFacts) -> Parts:
    return parts([facts.appointments.get((Status.DONE, purpose), 0) for purpose in Purpose])


def _outcome(facts: PeriodFacts, *statuses: Status) -> int:
    return sum(number for (status, _), number in facts.appointments.items() if status in statuses)


def _not_kept(both: Both) -> Iterator[Line]:
    told = (
        ("Cancelled late", (Status.CANCELLED_LATE,), "Cancelled with less than 24 hours' notice."),
        ("Cancelled in time", (Status.CANCELLED_EARLY,), "Cancelled with more notice than that."),
        (
            "Outcome not noted",
            NOT_CLOSED,
            "The time has passed; what became of it was not noted.",
        ),
    )
    for name, statuses, means in told:
        counts = [counted(_outcome(facts, *statuses)) for facts in both]
        yield _line(LineKind.COUNT, name, counts, means)


def _intensive(both: Both) -> Section:
    tallies = [[result for _, result in facts.reductions] for facts in both]
    counts = [
        parts([sum(each.outcome is outcome for each in tally) for outcome in Outcome])
        for tally in tallies
    ]
    lines = _broken_down(
        _named(Outcome),
        counts,
        total="Limbs in intensive phases that ended",
        means="Each kind of limb taped in an intensive phase that ended in the period; a phase"
        " without any taping counts once. Without a clear excess at the start, above zero beyond"
        " its measurement error, a reduction in percent is not defined.",
    )
    reduction = _line(
        LineKind.MEDIAN,
        "Excess reduction",
        [_reduction(*each) for each in zip(both, counts, strict=True)],
        "How much of the excess at the first taping of the phase was gone at the last one, in"
        " percent of it; both limbs taped, over the stretch both sessions share.",
        Unit.PERCENT,
    )
    return Section("intensive", "Intensive phases", (reduction, *lines))


def _reduction(facts: PeriodFacts, told: Parts) -> Middle:
    found = [
        (client, each.percent) for client, each in facts.reductions if each.percent is not None
    ]
    clients = {client for client, _ in found}
    count = joined(told.cells[: len(TOLD)]).total
    return middle([percent for _, percent in found], people=len(clients), count=count)


def _surveillance(both: Both) -> Section:
    measured = [_by(Kept, facts.measured) for facts in both]
    in_time = _line(
        LineKind.SHARE,
        "Surveillance coverage",
        [share(each) for each in measured],
        "Re-measurements done by the day they were due, of those due in the period: due as on the"
        " recall list, three months (or as set for the client) after the last taping; a taping more"
        f" than {GRACE_DAYS} days early moves the day instead.",
        Unit.PERCENT,
    )
    dues = _broken_down(
        _named(Kept),
        measured,
        total="Re-measurements due",
        means="Under surveillance on the day due, that day over; clients now deactivated are left"
        " out, and the months are those set now.",
    )
    found = _broken_down(
        _named(Detection),
        [_by(Detection, facts.detections) for facts in both],
        total="Limbs re-measured under surveillance",
        means="Early detection: relative volume change since the baseline above 3 % (Stout Gergich"
        " et al., Cancer 2008;112:2809-2819); not judged without a baseline of both limbs, or where"
        " both sides are affected.",
    )
    moved = _line(
        LineKind.COUNT,
        "From surveillance into the intensive phase",
        [counted(facts.moved_to_intensive) for facts in both],
        "Episodes whose therapist changed the phase so in the period.",
    )
    return Section("surveillance", "Surveillance", (in_time, *dues, *found, moved))


def _programmes(both: Both) -> Section:
    issued = _line(
        LineKind.COUNT,
        "Home programmes issued",
        [counted(facts.programmes_issued) for facts in both],
        "Programmes issued in the period, new versions for the same client included.",
    )
    done = _line(
        LineKind.MEDIAN,
        "Adherence",
        [middle(facts.adherence_days, people=len(facts.adherence_days)) for facts in both],
        "Days of the last seven on which the programme was done, as each client last told in the"
        " period.",
        Unit.DAYS_OF_SEVEN,
    )
    return Section("programmes", "Home programmes", (issued, done))


def _letters(both: Both) -> Section:
    counts = [parts(facts.letters) for facts in both]
    on_time = _line(
        LineKind.SHARE,
        "Letters on time",
        [share(each) for each in counts],
        f"Progress letters approved within {GRACE_DAYS} days after the last day they report on, of"
        " those approved in the period; the clinic's own rule, without a source.",
        Unit.PERCENT,
    )
    approved = _broken_down(
        ["On time", "Later"],
        counts,
        total="Progress letters approved",
        means="Letters to referrers; reports to payers and discharge summaries do not count.",
    )
    overdue = _line(
        LineKind.COUNT,
        "Letters overdue on the last day",
        [counted(facts.letters_overdue) for facts in both],
        "Open episodes, seen since the last letter, whose next one by the referrer's wish was due"
        f" more than {GRACE_DAYS} days before; a deactivated referrer is owed none; wishes and"
        " consent as they are now.",
    )
    return Section("letters", "Letters", (on_time, *approved, overdue))

"""What a file of past sessions would become: the dry run, which saves nothing."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, time
from itertools import product
from typing import Any

from django.utils import timezone

from clinic.clients.models import Episode
from clinic.common.csv_files import Problem, Values
from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Limb, Sex, Side
from measurements.csv_rows import EXPECTED, FileRead, PastRow, read_file
from measurements.errors import (
    AlreadyRecorded,
    DayImpossible,
    FactMissing,
    FactsDiffer,
    ProtocolOfOtherLimb,
    ProtocolUnknown,
    TimeMissing,
)
from measurements.limb.errors import ReadingError, ReadingsRejected, StationMissing
from measurements.limb.girth import LimbGirths, Reading, check_readings
from measurements.limb.plausibility import Question
from measurements.models import GirthSession, Protocol
from measurements.questions import limbs_taped, questions_about
from measurements.selectors.entry import last_time, live_sessions
from measurements.selectors.taped import swollen_side
from measurements.taped import Confirmed, SessionTaped, TapedFacts

Existing = Mapping[tuple[Limb, date], Sequence[tuple[time | None, int]]]
# Of a line that was not read: a cell that was not understood, which may mean anything.
UNREAD = object()


@dataclass(frozen=True)
class PastSession:
    """A session of the file: as it would be kept, its lines, what is unusual about it."""

    taped: SessionTaped
    protocol: Protocol
    round: int
    first_line: int
    last_line: int
    questions: tuple[Question, ...]
    left_out: tuple[StationMissing, ...]

    @property
    def sides(self) -> tuple[Side, ...]:
        return self.taped.sides


@dataclass(frozen=True)
class ImportReport:
    """The dry run. Nothing may be saved while there are problems.

    `waiting` sessions lack what a line that was not read may say: judged once that is mended.
    """

    file: FileRead
    sessions: tuple[PastSession, ...]
    problems: tuple[Problem, ...]
    existing: Existing
    waiting: int = 0

    @property
    def is_ready(self) -> bool:
        return not (self.problems or self.waiting) and bool(self.sessions)

    @property
    def girth_count(self) -> int:
        return sum(len(session.taped.readings) for session in self.sessions)

    @property
    def unusual(self) -> list[tuple[PastSession, Question]]:
        return [(session, each) for session in self.sessions for each in session.questions]

    @property
    def left_out(self) -> list[tuple[PastSession, StationMissing]]:
        return [(session, each) for session in self.sessions for each in session.left_out]


def import_report(episode: Episode, raw: bytes) -> ImportReport:
    """What is wrong with a file, line by line, and the sessions it holds.

    At most eight queries, whatever the length. Raises the FileErrors of the file as a whole.
    """
    return report_on(episode, read_file(raw))


def report_on(episode: Episode, file: FileRead) -> ImportReport:
    """The same for a file that was read before. At most eight queries."""
    check = _Check(episode, file)
    sessions = [found for group in _groups(file.rows) if (found := check.session(group))]
    problems = sorted([*file.problems, *check.problems], key=lambda problem: problem.line)
    ordered = sorted(sessions, key=_by_time)
    asked = tuple(_with_questions(episode, ordered)) if not problems else ()
    kept = asked or tuple(ordered)
    return ImportReport(file, kept, tuple(problems), check.existing, len(check.waiting))


def _groups(rows: Iterable[PastRow]) -> Iterator[list[PastRow]]:
    """The lines of one session: the same limb, day, time and round."""
    groups: defaultdict[tuple[Any, ...], list[PastRow]] = defaultdict(list)
    for row in rows:
        groups[_session_of(row)].append(row)
    yield from groups.values()


def _session_of(row: PastRow) -> tuple[Any, ...]:
    return row.limb, row.taken_on, row.taken_at, row.round


def _taping_of(row: PastRow) -> tuple[Any, ...]:
    return row.limb, row.taken_on, row.round


def _by_time(session: PastSession) -> tuple[date, int, time]:
    facts = session.taped.facts
    return facts.taken_on, session.round, facts.taken_at or time.min


class _Check:
    """Judges the sessions of one file against the protocols and what is recorded."""

    def __init__(self, episode: Episode, file: FileRead) -> None:
        self.episode = episode
        self.problems: list[Problem] = []
        self.protocols = _protocols_by_name()
        self.existing = _existing(episode, {row.taken_on for row in file.rows})
        self.today = timezone.localdate()
        timed = {_taping_of(row) for row in file.rows if row.taken_at}
        untimed = {_taping_of(row) for row in file.rows if not row.taken_at}
        self.mixed_days = timed & untimed
        self.waiting: set[tuple[Any, ...]] = set()
        self.may_say = {name: set(self._sayers(file, name)) for name in ("posture", "protocol")}

    def _sayers(self, file: FileRead, name: str) -> Iterator[tuple[Any, ...]]:
        """The sessions, as far as that is sure, of all lines that say something or may say it."""
        counts = Counter(map(_session_of, file.rows))
        for values in file.unread:
            if values.get(name, UNREAD):
                yield _session_unread(values)
        for row in file.rows:
            if getattr(row, name):
                yield from self._sessions_doubted(row, is_alone=counts[_session_of(row)] == 1)

    def _sessions_doubted(self, row: PastRow, *, is_alone: bool) -> Iterator[tuple[Any, ...]]:
        """Where else a line may belong whose limb, day or time is told as a problem of its own.

        A line alone is told too, as too little for a volume: its day or time may be mistyped.
        """
        protocol = self.protocols.get(row.protocol.casefold())
        limb = row.limb if protocol is None or protocol.limb == row.limb else UNREAD
        day = row.taken_on if self._is_possible(row.taken_on) else UNREAD
        taken_at = UNREAD if _taping_of(row) in self.mixed_days else row.taken_at
        yield limb, day, taken_at, row.round
        if is_alone:
            yield from ((limb, UNREAD, taken_at, row.round), (limb, day, UNREAD, row.round))

    def _is_possible(self, day: date) -> bool:
        return self.episode.client.born_on <= day <= self.today

    def session(self, rows: list[PastRow]) -> PastSession | None:
        """The session of some lines, or None when they hold a problem."""
        before = len(self.problems)
        first = rows[0]
        self._check_day(first)
        facts = {name: self._fact(rows, name) for name in ("weight_kg", "posture", "note")}
        protocol = self._protocol(first, self._fact(rows, "protocol"))
        if not facts["posture"]:
            self._miss(first, "posture")
        if protocol is None or not facts["posture"] or len(self.problems) > before:
            return None
        readings = tuple(
            Reading(row.side, float(row.level_cm), float(row.girth_cm), row.trial) for row in rows
        )
        left_out = self._check_girths(rows, readings, protocol)
        if len(self.problems) > before:
            return None
        taped = _taped(first, facts, protocol, readings)
        return PastSession(taped, protocol, first.round, first.line, rows[-1].line, (), left_out)

    def _add(self, row: PastRow, error: RuleBroken, column: str = "", found: str = "") -> None:
        self.problems.append(Problem(row.line, error, column, found))

    def _miss(self, row: PastRow, name: str) -> None:
        """No line says it; where one that was not read may, that one is the cause, told already."""
        own = _session_of(row)
        if self.may_say[name].isdisjoint(product(*((each, UNREAD) for each in own))):
            self._add(row, FactMissing(EXPECTED[name]), name)
        else:
            self.waiting.add(own)

    def _check_day(self, row: PastRow) -> None:
        day = row.taken_on
        if not self._is_possible(day):
            limit = self.today if day > self.today else self.episode.client.born_on
            self._add(row, DayImpossible(day, limit), "taken_on", day.isoformat())
        if row.taken_at is None and _taping_of(row) in self.mixed_days:
            self._add(row, TimeMissing(), "time")
        for taken_at, _ in self.existing.get((row.limb, day), ()):
            if None in {taken_at, row.taken_at} or taken_at == row.taken_at:
                self._add(row, AlreadyRecorded(day), "taken_on", day.isoformat())
                return

    def _fact(self, rows: list[PastRow], name: str) -> Any:
        """What most of a session's lines say, so that the others are told; empty cells agree."""
        given = [(getattr(row, name), row) for row in rows if getattr(row, name)]
        if not given:
            return getattr(rows[0], name)
        ((value, _),) = Counter(said for said, _ in given).most_common(1)
        line = next(row.line for said, row in given if said == value)
        for other, row in given:
            if other != value:
                self._add(row, FactsDiffer(str(value), line), name, str(other))
        return value

    def _protocol(self, row: PastRow, name: str) -> Protocol | None:
        if not name:
            self._miss(row, "protocol")
            return None
        protocol = self.protocols.get(name.casefold())
        if protocol is None:
            self._add(row, ProtocolUnknown(name), "protocol", name)
        elif protocol.limb != row.limb:
            self._add(row, ProtocolOfOtherLimb(name), "protocol", name)
            return None
        return protocol

    def _check_girths(
        self, rows: list[PastRow], readings: tuple[Reading, ...], protocol: Protocol
    ) -> tuple[StationMissing, ...]:
        """The pure rules; a station left out of a past session is told, not refused."""
        levels = [float(station.level_cm) for station in protocol.stations.all()]
        try:
            check_readings(readings, levels_cm=levels)
        except ReadingsRejected as rejected:
            problems = rejected.problems
            for problem in problems:
                if not isinstance(problem, StationMissing):
                    self._add(_row_of(problem, rows), problem, "level_cm")
            return tuple(each for each in problems if isinstance(each, StationMissing))
        return ()


def _session_unread(values: Values) -> tuple[Any, ...]:
    """The session of a line that was not read, as far as it was understood."""
    return tuple(values.get(name, UNREAD) for name in ("limb", "taken_on", "time", "round"))


def _row_of(problem: ReadingError, rows: list[PastRow]) -> PastRow:
    """The line a problem is about: the last that fits, else the session's first."""
    level = getattr(problem, "level_cm", None)
    fits = [r for r in rows if r.side == problem.side and float(r.level_cm) == level]
    return fits[-1] if fits else rows[0]


def _taped(
    row: PastRow, facts: Mapping[str, Any], protocol: Protocol, readings: tuple[Reading, ...]
) -> SessionTaped:
    sides = {reading.side for reading in readings}
    return SessionTaped(
        facts=TapedFacts(
            limb=row.limb,
            protocol_id=protocol.pk,
            taken_on=row.taken_on,
            taken_at=row.taken_at,
            **facts,
        ),
        sides=tuple(side for side in Side if side in sides),
        readings=readings,
    )


def _protocols_by_name() -> dict[str, Protocol]:
    """Every protocol by name; of several with one name, the one in use or the latest retired."""
    found = Protocol.objects.prefetch_related("stations").order_by("retired_at")
    retired_first = sorted(found, key=lambda each: each.retired_at is None)
    return {protocol.name.casefold(): protocol for protocol in retired_first}


def _existing(episode: Episode, days: set[date]) -> Existing:
    """Times and rounds of the live sessions on these days. One query."""
    rows = GirthSession.objects.filter(
        episode=episode, struck_at__isnull=True, taken_on__in=days
    ).values_list("limb", "taken_on", "taken_at", "round")
    found: defaultdict[tuple[Limb, date], list[tuple[time | None, int]]] = defaultdict(list)
    for limb, taken_on, taken_at, number in rows:
        found[Limb(limb), taken_on].append((taken_at, number))
    return found


def _with_questions(episode: Episode, ordered: list[PastSession]) -> Iterator[PastSession]:
    """Each session with what is unusual about it, set against the one before it."""
    previous: dict[tuple[Limb, str], Mapping[Side, LimbGirths]] = {}
    regions = list(episode.regions.all())
    swollen = {limb: swollen_side(limb, regions) for limb in Limb}
    for session in ordered:
        facts, mark = session.taped.facts, session.protocol.start_landmark
        key = (facts.limb, mark)
        if key not in previous:
            last = last_time(episode, facts.limb, before=facts.taken_on, landmark=mark)
            previous[key] = last.limbs if last else {}
        limbs = limbs_taped(session.taped.readings, zero_mark=mark)
        sex = Sex(episode.client.sex)
        asked = questions_about(
            facts.limb, limbs, sex=sex, previous=previous[key], swollen=swollen[facts.limb]
        )
        previous[key] = {**previous[key], **limbs}
        sure = Confirmed(frozenset((each.side, each.level_cm) for each in asked))
        yield replace(session, taped=replace(session.taped, confirmed=sure), questions=asked)


def limbs_without_session(episode: Episode) -> set[Limb]:
    """The kinds of limb whose next session becomes the baseline. Two queries."""
    return {limb for limb in Limb if not live_sessions(episode, limb).exists()}

"""What a list of appointments would become: the dry run, which saves nothing."""

from bisect import insort
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.db.models.functions import Lower

from clinic.accounts.models import User
from clinic.clients.models import Client
from clinic.clients.selectors import therapists
from clinic.common.csv_files import Problem
from clinic.common.errors import RuleBroken
from clinic.scheduling.desk_errors import (
    AlreadyThere,
    KindUnknown,
    NameNotUnique,
    NobodyFound,
    RoomUnknown,
    TherapistUnknown,
    TimeTaken,
)
from clinic.scheduling.listed import Listed, ListRead, read_list
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import span_of, stored, wall, zone
from clinic.scheduling.slots import Conflict, overlaps_any
from clinic.scheduling.spans import Span
from clinic.scheduling.staff_time import AppointmentKind, Room
from clinic.scheduling.states import HOLDING, Status


@dataclass(frozen=True)
class Otherwise:
    """What stands for a therapist or a kind that the file does not name."""

    therapist: User | None = None
    kind: AppointmentKind | None = None


@dataclass(frozen=True)
class Understood:
    """One appointment of the file, as it would be kept."""

    line: int
    client: Client
    therapist: User
    room: Room | None
    kind: AppointmentKind
    span: Span
    status: Status
    note: str

    @property
    def starts_at(self) -> datetime:
        return wall(self.span.starts_at)

    @property
    def ends_at(self) -> datetime:
        return wall(self.span.ends_at)

    @property
    def is_held(self) -> bool:
        return self.status in HOLDING


@dataclass(frozen=True)
class ListReport:
    """The dry run. Nothing may be saved while there are problems."""

    file: ListRead
    rows: tuple[Understood, ...]
    problems: tuple[Problem, ...]

    @property
    def is_ready(self) -> bool:
        return bool(self.rows) and not self.problems


def list_report(raw: bytes, otherwise: Otherwise) -> ListReport:
    """What is wrong with a file, line by line, and the appointments it holds.

    Five queries, whatever its length. Raises the FileErrors of the file as a whole.
    """
    file = read_list(raw, zone())
    names = _Names.of(file.rows, otherwise)
    rows: list[Understood] = []
    problems = list(file.problems)
    for listed in file.rows:
        try:
            rows.append(names.understood(listed))
        except RuleBroken as error:
            problems.append(Problem(listed.line, error, found=listed.client[:40]))
    problems += _clashes(rows)
    wrong = {problem.line for problem in problems}
    kept = tuple(row for row in rows if row.line not in wrong)
    return ListReport(file, kept, tuple(sorted(problems, key=lambda problem: problem.line)))


def plain(text: str) -> str:
    """A name as compared: no capitals, single blanks, no blanks around commas."""
    return ",".join(" ".join(part.split()) for part in text.casefold().split(","))


@dataclass(frozen=True)
class _Names:
    """Clients, staff, rooms and kinds by what a file may call them."""

    clients: Mapping[str, Sequence[Client]]
    people: Mapping[str, User]
    rooms: Mapping[str, Room]
    kinds: Mapping[str, AppointmentKind]
    otherwise: Otherwise

    @classmethod
    def of(cls, rows: Iterable[Listed], otherwise: Otherwise) -> "_Names":
        people = list(therapists())
        return cls(
            clients=_clients_named({row.client for row in rows}),
            people={plain(one.sign_in_name): one for one in people}
            | {plain(one.display_name): one for one in people},
            rooms={plain(one.name): one for one in Room.objects.all()},
            kinds={plain(one.name): one for one in AppointmentKind.objects.all()},
            otherwise=otherwise,
        )

    def understood(self, listed: Listed) -> Understood:
        """Raises the ListErrors of one line."""
        kind = self._named(listed.kind, self.kinds, self.otherwise.kind, KindUnknown)
        return Understood(
            line=listed.line,
            client=self._client(listed.client),
            therapist=self._named(
                listed.therapist, self.people, self.otherwise.therapist, TherapistUnknown
            ),
            room=self._room(listed.room),
            kind=kind,
            span=listed.span(kind.minutes),
            status=Status(listed.status.value),
            note=listed.note,
        )

    def _client(self, said: str) -> Client:
        found = self.clients.get(plain(said), ())
        if len(found) > 1:
            raise NameNotUnique(said, len(found))
        if not found:
            raise NobodyFound(said)
        return found[0]

    def _room(self, said: str) -> Room | None:
        if said and plain(said) not in self.rooms:
            raise RoomUnknown(said)
        return self.rooms.get(plain(said))

    def _named(
        self, said: str, known: Mapping[str, Any], otherwise: Any, error: type[RuleBroken]
    ) -> Any:
        found = known.get(plain(said)) if said else otherwise
        if found is None:
            raise error(said)
        return found


def _clients_named(said: Collection[str]) -> dict[str, list[Client]]:
    """Active clients by record number, "Family, Given" and "Given Family". One query."""
    texts = [" ".join(one.lower().split()) for one in said]
    families = {part.strip() for one in texts for part in (one.split(",")[0], one.split(" ")[-1])}
    families |= {one.partition(" ")[2] for one in texts}
    rows = (
        Client.objects.filter(deactivated_at=None)
        .alias(number=Lower("record_number"), family=Lower("family_name"))
        .filter(Q(number__in=texts) | Q(family__in=families))
    )
    found: dict[str, list[Client]] = defaultdict(list)
    for client in rows.only("record_number", "given_name", "family_name"):
        family, given = client.family_name, client.given_name
        for name in {client.record_number, f"{family}, {given}", f"{given} {family}"}:
            found[plain(name)].append(client)
    return found


# Against what is booked, and against one another


@dataclass
class _Held:
    """Ascending spans that hold somebody's time, from the table and the file together."""

    spans: dict[tuple[str, object], list[Span]] = field(default_factory=lambda: defaultdict(list))

    def conflict(self, keys: Iterable[tuple[str, object]], span: Span) -> Conflict | None:
        for key in keys:
            if overlaps_any(span, self.spans[key]):
                return TAKEN[key[0]]
        return None

    def add(self, keys: Iterable[tuple[str, object]], span: Span) -> None:
        for key in keys:
            insort(self.spans[key], span)


# A kept appointment: client, beginning, whether it holds its time.
Kept = tuple[UUID, datetime, bool]

TAKEN = {
    "therapist": Conflict.THERAPIST_BUSY,
    "room": Conflict.ROOM_BUSY,
    "client": Conflict.CLIENT_BUSY,
}


def _clashes(rows: Sequence[Understood]) -> list[Problem]:
    """Lines that would book somebody twice, or that are kept already. One query."""
    if not rows:
        return []
    held, there = _booked(rows)
    return [problem for row in rows if (problem := _clash(row, held, there))]


def _clash(row: Understood, held: _Held, there: Collection[Kept]) -> Problem | None:
    """What stands against one line; a line that nothing stands against takes its time."""
    found = str(row.client)[:40]
    if (row.client.pk, row.span.starts_at, row.is_held) in there:
        return Problem(row.line, AlreadyThere(), found=found)
    if not row.is_held:
        return None
    keys = _keys(row.therapist.pk, row.room.pk if row.room else None, row.client.pk)
    if conflict := held.conflict(keys, row.span):
        return Problem(row.line, TimeTaken(conflict.label), found=found)
    held.add(keys, row.span)
    return None


def _booked(rows: Sequence[Understood]) -> tuple[_Held, set[Kept]]:
    """What holds its time around the lines, and every appointment that is kept there."""
    whole = Span(min(row.span.starts_at for row in rows), max(row.span.ends_at for row in rows))
    known = Appointment.objects.filter(period__overlap=stored(whole)).values_list(
        "therapist_id", "room_id", "client_id", "period", "status"
    )
    held, there = _Held(), set()
    for therapist_id, room_id, client_id, period, status in known:
        span, is_held = span_of(period), status in HOLDING
        there.add((client_id, span.starts_at, is_held))
        if is_held:
            held.add(_keys(therapist_id, room_id, client_id), span)
    return held, there


def _keys(therapist_id: int, room_id: int | None, client_id: UUID) -> list[tuple[str, object]]:
    keys: list[tuple[str, object]] = [("therapist", therapist_id), ("client", client_id)]
    return keys + ([("room", room_id)] if room_id is not None else [])

"""What a list of clients or referrers would become: the dry run, which saves nothing."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.utils import timezone

from clinic.clients import days
from clinic.clients.duplicates import FullName, Likeness, likeness
from clinic.clients.errors import RecordNumberTaken
from clinic.clients.models import Client, Delivery, Referrer
from clinic.clients.selectors import standing_clients
from clinic.common.csv_files import Problem, Table, Values, read_table
from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import LetterFrequency
from clinic.exchange import errors
from clinic.exchange.layouts import LISTS, ListKind
from clinic.exchange.reports import Doubt, Incoming, ListReport, in_order

Person = TypeVar("Person", Client, Referrer)

NOT_CLEANED = {"id", "referrer", "folded_name", "registered_at"}


# Clients


def clients_report(raw: bytes) -> ListReport:
    """What is wrong with a list of clients, line by line, and who of it may be known already.

    Three queries, whatever its length. Raises the FileErrors of the file as a whole.
    """
    table = read_table(raw, LISTS[ListKind.CLIENTS].layout)
    check = _Clients(table)
    incoming = tuple(check.incoming())
    check.rest_of_the_unread()
    return ListReport(
        table=table,
        heads=("Record", "Name", "Born", "Referrer", "Letters"),
        incoming=incoming,
        problems=in_order([*table.problems, *check.problems]),
        doubts=tuple(_client_doubts(incoming)),
    )


class _Clients:
    """Judges the lines of one list against the referrers and the record numbers in use."""

    def __init__(self, table: Table) -> None:
        self.table = table
        self.problems: list[Problem] = []
        self.today = timezone.localdate()
        self.referrers = _referrers_by_name()
        lines = [*table.rows, *table.unread]
        typed = {values.get("record_number", "") for _, values in lines} - {""}
        known = Client.objects.filter(record_number__in=typed)
        self.taken = set(known.values_list("record_number", flat=True))
        self.first_line: dict[str, int] = {}

    def incoming(self) -> Iterator[Incoming]:
        for line, values in self.table.rows:
            before = len(self.problems)
            client = self._client(line, values)
            if len(self.problems) == before:
                yield Incoming(line, client, _client_cells(client))

    def rest_of_the_unread(self) -> None:
        """What else is wrong in lines of which a cell is, so that nobody mends them twice."""
        for line, values in self.table.unread:
            self._client(line, values)

    def _client(self, line: int, values: Values) -> Client:
        """The client of a line. Nothing is said of a cell that `values` has not."""
        own = {name: value for name, value in values.items() if name != "referrer"}
        client = Client(**own)
        self._check_number(line, client.record_number)
        if "born_on" in values:
            self._check_birth(line, client.born_on)
        said = values.get("referrer", "")
        try:
            client.referrer = self._referrer(said)
        except RuleBroken as error:
            self._add(line, error, "referrer", said)
        left_out = set() if client.record_number else {"record_number"}
        self.problems += _refused(line, client, left_out | _unread(values, ListKind.CLIENTS))
        return client

    def _check_birth(self, line: int, born_on: date) -> None:
        try:
            days.check_birth(born_on, today=self.today)
        except RuleBroken as error:
            self._add(line, error, "born_on", born_on.isoformat())

    def _check_number(self, line: int, number: str) -> None:
        if not number:
            return
        first = self.first_line.setdefault(number, line)
        if number in self.taken:
            self._add(line, RecordNumberTaken(number), "record_number", number)
        elif first != line:
            self._add(line, errors.NumberTwice(number, first), "record_number", number)

    def _referrer(self, said: str) -> Referrer | None:
        if not said:
            return None
        found = self.referrers.get(_plain(said), [])
        if not found:
            raise errors.ReferrerUnknown(said)
        if len(found) > 1:
            raise errors.NameNotUnique(said, len(found))
        return found[0]

    def _add(self, line: int, error: RuleBroken, column: str, found: str) -> None:
        self.problems.append(Problem(line, error, column, found[:40]))


def _client_cells(client: Client) -> tuple[str, ...]:
    return (
        client.record_number or "next free",
        str(client),
        client.born_on.isoformat(),
        str(client.referrer or "none"),
        "agrees" if client.agrees_to_letters else "does not agree",
    )


def _client_doubts(incoming: tuple[Incoming, ...]) -> Iterator[Doubt]:
    """Those born on one day under a similar name: registered, or earlier in the list. One query."""
    born: defaultdict[date, list[tuple[str, FullName]]] = defaultdict(list)
    known = standing_clients().filter(born_on__in={each.row.born_on for each in incoming})
    for client in known.only("record_number", "given_name", "family_name", "born_on"):
        born[client.born_on].append((f"{client}, record {client.record_number}", _name(client)))
    for each in incoming:
        name, others = _name(each.row), born[each.row.born_on]
        for told, other in others:
            if reason := likeness(name, other):
                yield Doubt(each.line, str(each.row), told, reason.label)
        others.append((f"line {each.line}: {each.row}", name))


# Referrers


def referrers_report(raw: bytes) -> ListReport:
    """The same for a list of referrers. One query."""
    table = read_table(raw, LISTS[ListKind.REFERRERS].layout)
    problems = list(table.problems)
    incoming: list[Incoming] = []
    for line, values in [*table.rows, *table.unread]:
        chosen = {"delivery": Delivery.POST, "letter_frequency": LetterFrequency.MONTHLY}
        said = {name: values.get(name, "").lower() or usual for name, usual in chosen.items()}
        referrer, unread = Referrer(**{**values, **said}), _unread(values, ListKind.REFERRERS)
        refused = _refused(line, referrer, unread)
        problems += refused
        if not (refused or unread):
            incoming.append(Incoming(line, referrer, _referrer_cells(referrer)))
    return ListReport(
        table=table,
        heads=("Name", "Speciality", "Organisation", "Letters go", "How often"),
        incoming=tuple(incoming),
        problems=in_order(problems),
        doubts=tuple(_referrer_doubts(incoming)),
    )


def _referrer_cells(referrer: Referrer) -> tuple[str, ...]:
    return (
        str(referrer),
        referrer.speciality,
        referrer.organisation,
        Delivery(referrer.delivery).label,
        LetterFrequency(referrer.letter_frequency).label,
    )


def _referrer_doubts(incoming: Iterable[Incoming]) -> Iterator[Doubt]:
    """Those of the same name, or with given and family name swapped. One query."""
    named: defaultdict[frozenset[str], list[tuple[str, FullName]]] = defaultdict(list)
    for known in Referrer.objects.all():
        named[_names(known)].append((_told(known), _name(known)))
    for each in incoming:
        others = named[_names(each.row)]
        for told, other in others:
            if reason := likeness(_name(each.row), other):
                yield Doubt(each.line, str(each.row), told, _same(reason))
        others.append((f"line {each.line}: {each.row}", _name(each.row)))


def _told(referrer: Referrer) -> str:
    return ", ".join(part for part in (str(referrer), referrer.organisation) if part)


def _names(person: Client | Referrer) -> frozenset[str]:
    return frozenset({_plain(person.given_name), _plain(person.family_name)})


def _same(reason: Likeness) -> str:
    return reason.label


# Shared


def _name(person: Client | Referrer) -> FullName:
    return FullName(person.given_name, person.family_name)


def _unread(values: Values, kind: ListKind) -> set[str]:
    """The columns of which a line has no cell that could be read."""
    return set(LISTS[kind].layout.names) - values.keys()


def _refused(line: int, row: Client | Referrer, left_out: set[str]) -> list[Problem]:
    """What the record's own rules say against a row, cell by cell. No query."""
    try:
        row.clean_fields(exclude=NOT_CLEANED | left_out)
    except ValidationError as error:
        return [
            Problem(line, _why(row, name, said), name, str(getattr(row, name))[:40])
            for name, messages in error.message_dict.items()
            for said in messages
        ]
    return []


def _why(row: Client | Referrer, name: str, said: str) -> errors.ListError:
    """What was said against a cell; of a word that is not known, which words are."""
    if choices := getattr(row._meta.get_field(name), "choices", None):
        return errors.WordUnknown(str(getattr(row, name)), tuple(value for value, _ in choices))
    return errors.CellRefused(said)


def _referrers_by_name() -> Mapping[str, list[Referrer]]:
    """Referrers in use by what a list may call them. One query."""
    found: defaultdict[str, list[Any]] = defaultdict(list)
    for referrer in Referrer.objects.filter(is_active=True):
        given, family = referrer.given_name, referrer.family_name
        names = {f"{family}, {given}", f"{given} {family}", str(referrer), referrer.email}
        for name in {_plain(name) for name in names if name}:
            found[name].append(referrer)
    return found


def _plain(text: str) -> str:
    """A name as compared: no capitals, single blanks, none around commas."""
    return ",".join(" ".join(part.split()) for part in text.casefold().split(","))

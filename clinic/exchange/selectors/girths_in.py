"""What one file of many clients' girths would become: the dry run, which saves nothing.

Each client's lines are judged by the import of past sessions, as if they had come alone.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from operator import itemgetter
from uuid import UUID

from clinic.clients.models import Client, Episode
from clinic.common.csv_files import Problem, Table, Values, read_table
from clinic.common.vocabulary import Limb
from clinic.exchange import errors
from clinic.exchange.layouts import LISTS, ListKind
from clinic.exchange.reports import Incoming, ListReport, in_order
from measurements.csv_rows import FileRead, PastRow, past_row
from measurements.selectors.imports import ImportReport, PastSession, report_on
from measurements.selectors.taped import affected_sides
from measurements.sentences import question_sentence, sentence


@dataclass(frozen=True)
class Part:
    """The lines of a file that belong to one episode."""

    episode: Episode
    file: FileRead


def girths_report(raw: bytes) -> ListReport:
    """What is wrong, line by line, and the sessions the file holds.

    Three queries, and at most eight for each episode. Raises the FileErrors of the whole file.
    """
    table = read_table(raw, LISTS[ListKind.GIRTHS].layout)
    parts, problems = _parts(table)
    reports = [(part, report_on(part.episode, part.file)) for part in parts]
    problems += [problem for _, report in reports for problem in report.problems]
    return ListReport(
        table=table,
        heads=("Record", "Client", "Episode", "Day", "Limb", "Protocol", "Girths"),
        incoming=tuple(_incoming(reports)),
        problems=in_order([*table.problems, *problems]),
        waiting=sum(report.waiting for _, report in reports),
        remarks=tuple(sorted(_remarks(reports), key=itemgetter(0))),
        parts=parts,
    )


def _parts(table: Table) -> tuple[list[Part], list[Problem]]:
    """The lines by episode, those of nobody set aside and told once for each record number."""
    lines_of_file = [*table.rows, *table.unread]
    clients = _clients({values.get("record_number", "") for _, values in lines_of_file})
    lines: defaultdict[Episode, list[PastRow]] = defaultdict(list)
    strays: defaultdict[str, list[int]] = defaultdict(list)
    unread = [values for _, values in table.unread]
    for line, values in table.rows:
        number = values["record_number"]
        if episodes := clients.get(number):
            row = past_row(line, values)
            lines[episode_of(episodes, row.taken_on, row.limb)].append(row)
        else:
            strays[number].append(line)
            unread.append(values)
    problems = [_stray(number, found, clients) for number, found in strays.items()]
    ours = _by_client(unread, clients)
    return [
        Part(each, _file(table, rows, [*ours[None], *ours[each.client_id]]))
        for each, rows in lines.items()
    ], problems


def _stray(number: str, lines: Sequence[int], clients: Mapping[str, Sequence[Episode]]) -> Problem:
    """What is wrong with a record number of one line or of many, beside the first of them."""
    error = errors.NoEpisode if number in clients else errors.NobodyFound
    return Problem(lines[0], error(number, len(lines)), "record_number", number[:40])


def _by_client(
    unread: Iterable[Values], clients: Mapping[str, Sequence[Episode]]
) -> defaultdict[UUID | None, list[Values]]:
    """Lines that were not read by whose they are; under None those that may be anybody's."""
    found: defaultdict[UUID | None, list[Values]] = defaultdict(list)
    for values in unread:
        episodes = clients.get(values.get("record_number", ""))
        found[episodes[0].client_id if episodes else None].append(values)
    return found


def _clients(numbers: set[str]) -> Mapping[str, Sequence[Episode]]:
    """Each known client's episodes with their regions, earliest first. Three queries.

    The number of a merged record, as an older file has it, is that of the record it went into.
    """
    named = Client.objects.filter(record_number__in=numbers, erased_at=None).values_list(
        "record_number", "pk", "merged_into"
    )
    holders = {number: merged_into or key for number, key, merged_into in named}
    episodes: defaultdict[UUID, list[Episode]] = defaultdict(list)
    found = Episode.objects.filter(client__in=set(holders.values())).select_related("client")
    for episode in found.prefetch_related("regions").order_by("opened_on", "pk"):
        episodes[episode.client_id].append(episode)
    return {number: episodes[key] for number, key in holders.items()}


def episode_of(episodes: Sequence[Episode], day: date, limb: Limb) -> Episode:
    """Of those that concern the limb, else of all: the latest opened by a day, else the first.

    Arms and legs may have an episode each at a time, and its regions say which side is compared.
    """
    if len(episodes) == 1:
        return episodes[0]
    own = [each for each in episodes if affected_sides(limb, each.regions.all()).are_any]
    found = own or episodes
    return next((each for each in reversed(found) if each.opened_on <= day), found[0])


def _file(table: Table, rows: Sequence[PastRow], unread: Sequence[Values]) -> FileRead:
    return FileRead(tuple(rows), (), table.encoding, table.separator, len(rows), tuple(unread))


def _incoming(reports: Sequence[tuple[Part, ImportReport]]) -> Iterator[Incoming]:
    for part, report in reports:
        yield from (
            Incoming(session.first_line, session, _cells(part.episode, session))
            for session in report.sessions
        )


def _cells(episode: Episode, session: PastSession) -> tuple[str, ...]:
    facts = session.taped.facts
    return (
        episode.client.record_number,
        str(episode.client),
        f"opened {episode.opened_on.isoformat()}",
        facts.taken_on.isoformat(),
        facts.limb.label,
        session.protocol.name,
        str(len(session.taped.readings)),
    )


def _remarks(reports: Sequence[tuple[Part, ImportReport]]) -> Iterator[tuple[int, str]]:
    """What is unusual and would be kept all the same."""
    for _, report in reports:
        for session, question in report.unusual:
            where = f"{question.side.label} {session.taped.facts.limb.label}"
            said = question_sentence(question)
            yield session.first_line, f"{where.capitalize()}, {question.level_cm:g} cm: {said}"
        for session, missing in report.left_out:
            yield session.first_line, sentence(missing)

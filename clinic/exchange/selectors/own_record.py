"""What clients asked about their own record, and what a copy of it holds."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeVar
from uuid import UUID

from django.db.models import QuerySet, prefetch_related_objects
from django.utils import timezone

from clinic.accounts.models import Practice
from clinic.audit.models import Entry
from clinic.audit.selectors import history_of
from clinic.audit.sentences import sentence
from clinic.clients.models import Client, Episode
from clinic.clients.record_requests import CopyRequest
from clinic.clients.selectors import ClientCard, client_card, precautions_of
from clinic.exchange.rows import ClientRows
from clinic.exchange.selectors.gathering import rows_of
from clinic.exchange.selectors.own_desk import (
    AskedPart,
    DeskPart,
    RequestsPart,
    asked_parts,
    desk_part,
    requests_part,
)
from clinic.letters.models import ProgressLetter
from clinic.letters.sending.models import Sending
from clinic.letters.sheet import TEXT_FIELDS
from clinic.visits.desk import AddendumShown
from clinic.visits.models import VisitNote
from clinic.visits.plans import PlanOfCare
from clinic.visits.selectors.sheets import signed_sheet
from clinic.visits.sheet import NoteSheet
from measurements.limb.instruments import SPECS, Instrument, InstrumentSpec
from measurements.models import OutcomeScore
from measurements.report import SessionReport
from measurements.selectors.courses import report_within
from measurements.selectors.findings import FindingsShown, findings_history
from measurements.selectors.taped import Taped
from programmes.garments import BandageRecord
from programmes.models import AdherenceRecord, Garment, Programme

Row = TypeVar("Row")


@dataclass(frozen=True)
class EpisodePart:
    """One episode of care with everything recorded in it, oldest first."""

    episode: Episode
    reports: tuple[SessionReport, ...]
    findings: tuple[tuple[str, FindingsShown], ...]  # region, what was found
    scores: tuple[tuple[OutcomeScore, InstrumentSpec], ...]
    plans: tuple[PlanOfCare, ...]
    notes: tuple[NoteSheet, ...]
    programmes: tuple[Programme, ...]
    adherence: tuple[AdherenceRecord, ...]
    garments: tuple[Garment, ...]
    bandages: tuple[BandageRecord, ...]
    letters: tuple["LetterPart", ...]


@dataclass(frozen=True)
class LetterPart:
    """A letter approved, with the texts that it has and how it was sent, if it was."""

    letter: ProgressLetter
    sent: tuple[Sending, ...]
    texts: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Access:
    """One entry of the record of accesses, in words."""

    at: datetime
    by: str
    words: str


@dataclass(frozen=True)
class OwnCopy:
    """Everything recorded about one client. `accesses` is None where they were not asked for."""

    practice: Practice
    made_at: datetime
    request: CopyRequest
    card: ClientCard
    rows: ClientRows
    precautions: tuple[Any, ...]
    episodes: tuple[EpisodePart, ...]
    asked: tuple[AskedPart, ...]
    desk: DeskPart
    requests: RequestsPart
    accesses: tuple[Access, ...] | None

    @property
    def treatments(self) -> list[Any]:
        """What was done before, by day; those of unknown day last."""
        rows = self.rows
        done = [*rows.surgeries, *rows.node_surgeries, *rows.irradiations, *rows.drug_treatments]
        return sorted(done, key=lambda one: one.done_on or date.max)


def own_copy(request: CopyRequest) -> OwnCopy:
    """All that is recorded about the client of the request."""
    client = request.client
    (rows,) = rows_of([client.pk])
    prefetch_related_objects(rows.garments, "fit_checks")
    prefetch_related_objects(rows.letters, "sendings")
    notes = _by_episode(_notes(client), lambda note: note.episode_id)
    return OwnCopy(
        practice=rows.practice,
        made_at=timezone.now(),
        request=request,
        card=client_card(client),
        rows=rows,
        precautions=tuple(precautions_of(client).order_by("found_on", "pk")),
        episodes=tuple(_part(episode, rows, notes[episode.pk]) for episode in rows.episodes),
        asked=asked_parts(client),
        desk=desk_part(client),
        requests=requests_part(client),
        accesses=_accesses(client) if request.with_accesses else None,
    )


def kept_sheets(client: Client) -> list[bytes]:
    """The programmes and letters of a client as they were given and sent, oldest first."""
    programmes = Programme.objects.filter(episode__client=client, issued_at__isnull=False)
    letters = ProgressLetter.objects.filter(episode__client=client, approved_at__isnull=False)
    kept = [*programmes.values_list("issued_at", "handout")]
    kept += letters.values_list("approved_at", "pdf")
    return [bytes(sheet) for _, sheet in sorted(kept, key=lambda one: one[0])]


def _part(episode: Episode, rows: ClientRows, notes: Sequence[VisitNote]) -> EpisodePart:
    def own(found: Iterable[Row]) -> tuple[Row, ...]:
        return tuple(row for row in found if row.episode_id == episode.pk)  # type: ignore[attr-defined]

    return EpisodePart(
        episode=episode,
        reports=_reports([one for one in rows.tapings if one.facts.episode_id == episode.pk]),
        findings=tuple(
            (str(region), found)
            for region in episode.regions.all()
            for found in reversed(findings_history(region))
        ),
        scores=tuple((one, SPECS[Instrument(one.instrument)]) for one in own(rows.scores)),
        plans=own(rows.plans),
        notes=tuple(signed_sheet(note, _addenda(note)) for note in notes),
        programmes=own(rows.programmes),
        adherence=own(rows.adherence),
        garments=own(rows.garments),
        bandages=tuple(episode.bandages.prefetch_related("layers").order_by("applied_on", "pk")),
        letters=tuple(_letter(letter) for letter in own(rows.letters)),
    )


def _reports(tapings: Sequence[Taped]) -> tuple[SessionReport, ...]:
    """Each session against those of the same limb before it; one struck out counts for none."""
    counted = [one for one in tapings if not one.facts.is_struck]
    return tuple(
        report_within(now, [one for one in counted if one.facts.limb == now.facts.limb])
        for now in tapings
    )


def _letter(letter: ProgressLetter) -> LetterPart:
    texts = ((letter._meta.get_field(name), getattr(letter, name)) for name in TEXT_FIELDS)
    return LetterPart(
        letter,
        sent=tuple(one for one in letter.sendings.all() if one.sent_at is not None),
        texts=tuple((str(field.verbose_name), said) for field, said in texts if said),
    )


def _notes(client: Client) -> QuerySet[VisitNote]:
    signed = VisitNote.objects.filter(episode__client=client, signed_at__isnull=False)
    joined = signed.select_related("episode").prefetch_related("addenda")
    return joined.order_by("visited_on", "begun_at")


def _addenda(note: VisitNote) -> tuple[AddendumShown, ...]:
    return tuple(
        AddendumShown(one.text, one.signature, one.written_at) for one in note.addenda.all()
    )


def _accesses(client: Client) -> tuple[Access, ...]:
    entries: QuerySet[Entry] = history_of(client)
    return tuple(Access(entry.at, entry.by.display_name, sentence(entry.verb)) for entry in entries)


def _by_episode(rows: Iterable[Row], key: Callable[[Row], UUID]) -> defaultdict[UUID, list[Row]]:
    found: defaultdict[UUID, list[Row]] = defaultdict(list)
    for row in rows:
        found[key(row)].append(row)
    return found

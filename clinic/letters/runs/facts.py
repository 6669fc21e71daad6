"""Reads what `owed.decide` rests on, for every episode open in a month. Six queries."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from uuid import UUID

from django.db.models import Exists, Max, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import TruncDate

from clinic.clients.models import Episode, PhaseChange
from clinic.clients.selectors import with_reader
from clinic.common.vocabulary import LetterFrequency, Phase
from clinic.letters.kinds import LetterKind
from clinic.letters.models import ProgressLetter
from clinic.letters.runs.owed import EpisodeFacts, first_day_of_interest, month_end
from clinic.scheduling.models import Appointment
from clinic.scheduling.states import Status
from clinic.visits.models import VisitNote
from measurements.models import GirthSession

TO_THE_REFERRER = [LetterKind.LETTER, LetterKind.DISCHARGE]


def episode_facts(month: date) -> list[EpisodeFacts]:
    """Facts of every episode of an active client that was open on a day of the month."""
    episodes = list(_open_in(month))
    letters, visits = _letters(), _visits(month)
    taped = dict(
        GirthSession.objects.filter(struck_at=None)
        .values_list("episode")
        .annotate(first_on=Min("taken_on"))
    )
    return [
        EpisodeFacts(
            episode_id=each["pk"],
            wish=LetterFrequency(each["wish"]) if each["wish"] else None,
            agrees=each["client__agrees_to_letters"],
            last_letter_to=letters.get(each["pk"], (None, False))[0],
            has_draft=letters.get(each["pk"], (None, False))[1],
            first_taped_on=taped.get(each["pk"]),
            visited_on=frozenset(visits[each["pk"]] | visits[each["client"]]),
            reader_is_active=each["reader_is_active"] is not False,
            discharged_on=each["since_on"] if each["phase"] == Phase.DISCHARGED else None,
        )
        for each in episodes
    ]


def _open_in(month: date) -> QuerySet[Episode, dict[str, object]]:
    """The phase is that of the last day of the month."""
    until = PhaseChange.objects.filter(episode=OuterRef("pk"), since_on__lte=month_end(month))
    latest = until.order_by("-since_on", "-pk")
    found = Episode.objects.filter(opened_on__lte=month_end(month), client__deactivated_at=None)
    return (
        with_reader(found)
        .annotate(
            phase=Subquery(latest.values("phase")[:1]),
            since_on=Subquery(latest.values("since_on")[:1]),
        )
        .exclude(phase=Phase.DISCHARGED, since_on__lt=month)
        .order_by("client__folded_name", "pk")
        .values(
            "pk",
            "client",
            "client__agrees_to_letters",
            "phase",
            "since_on",
            "wish",
            "reader_is_active",
        )
    )


def _letters() -> dict[UUID, tuple[date | None, bool]]:
    """By episode: the last day told of, and whether a draft is open."""
    rows = (
        ProgressLetter.objects.filter(kind__in=TO_THE_REFERRER)
        .order_by()
        .values_list("episode")
        .annotate(
            told_to=Max("period_to", filter=Q(approved_at__isnull=False)),
            draft_to=Max("period_to", filter=Q(approved_at__isnull=True)),
        )
    )
    return {episode: (told_to, draft_to is not None) for episode, told_to, draft_to in rows}


def _visits(month: date) -> dict[UUID, set[date]]:
    """Days with a visit: by episode where one is named, by client for what was only booked."""
    span = (first_day_of_interest(month), month_end(month))
    found: dict[UUID, set[date]] = defaultdict(set)
    for rows in (_booked(span), _noted(span), _taped(span)):
        for owner, on in rows:
            found[owner].add(on)
    return found


def _booked(span: tuple[date, date]) -> Iterable[tuple[UUID, date]]:
    """A booking knows no episode; one with a signed note is counted with the note's."""
    signed = VisitNote.objects.filter(appointment=OuterRef("pk"), signed_at__isnull=False)
    done = Appointment.objects.filter(~Exists(signed), status=Status.DONE).order_by()
    return (
        done.annotate(came_on=TruncDate("period__startswith"))
        .filter(came_on__range=span)
        .values_list("client", "came_on")
    )


def _noted(span: tuple[date, date]) -> Iterable[tuple[UUID, date]]:
    signed = VisitNote.objects.filter(signed_at__isnull=False, visited_on__range=span)
    return signed.order_by().values_list("episode", "visited_on")


def _taped(span: tuple[date, date]) -> Iterable[tuple[UUID, date]]:
    counted = GirthSession.objects.filter(struck_at=None, taken_on__range=span)
    return counted.order_by().values_list("episode", "taken_on")

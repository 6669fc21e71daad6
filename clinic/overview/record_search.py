"""The access and change record as the clinic lead searches it."""

import csv
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Count, Exists, OuterRef, Q, QuerySet
from django.db.models.functions import ExtractIsoWeekDay, TruncDate, TruncTime
from django.utils import timezone
from django.utils.functional import cached_property

from clinic.accounts.models import User
from clinic.accounts.permits import CLINICAL
from clinic.accounts.selectors import staff_list
from clinic.audit.models import Entry
from clinic.audit.selectors import entries
from clinic.audit.sentences import LOOKS, sentence
from clinic.clients.models import Client, Episode
from clinic.clients.selectors import records_found
from clinic.common.csv_files import SIGNATURE, harmless
from clinic.common.vocabulary import Word
from clinic.overview.record_page import HistoryLine, lines_of
from clinic.scheduling.models import Appointment
from clinic.scheduling.staff_time import Closure, WorkingHours
from clinic.visits.models import VisitNote

PAGE_LENGTH = 50
# Counting further costs more than it tells: whoever has so many lines asks more narrowly.
MOST_COUNTED = 5000
# What has to be worked out for each line is asked of so many days where no first day is given.
USUAL_DAYS = 90
CHUNK = 2000
SHOWN_OF_NUMBER = 8
ABOUT_STAFF = f"{User._meta.model_name}:"  # as `audit.record` writes a subject
CSV_COLUMNS = ("when", "who", "role", "what", "client", "subject", "from_where", "sign_in")


class Worth(Word):
    """What is worth a second look."""

    OUTSIDE_HOURS = "outside_hours", "outside working hours"
    NEVER_TREATED = "never_treated", "clinical staff without booking, note or episode"
    MANY_IN_A_DAY = "many_in_a_day", "people who opened many clients in a day"


WORKED_OUT = {Worth.OUTSIDE_HOURS, Worth.MANY_IN_A_DAY}


class Order(Word):
    LATEST = "latest", "latest first"
    OLDEST = "oldest", "oldest first"


@dataclass(frozen=True)
class Asked:
    """What the lead asks for; empty is not asked."""

    by: User | None = None
    client: str = ""
    action: str = ""  # a verb, "looks", "changes", or ""
    from_on: date | None = None
    to_on: date | None = None
    subject: str = ""
    came_from: str = ""
    worth: Worth | None = None
    many: int = 30
    order: Order = Order.LATEST

    @property
    def usual_from_on(self) -> date | None:
        """The first day where none is given and the lines have to be worked out, else None."""
        if self.worth not in WORKED_OUT or self.from_on is not None:
            return None
        return (self.to_on or timezone.localdate()) - timedelta(days=USUAL_DAYS - 1)


class CountedSoFar(Paginator):  # type: ignore[type-arg]
    """Counts no further than the most that anybody pages through."""

    @cached_property
    def count(self) -> int:
        return int(self.object_list.order_by()[:MOST_COUNTED].count())  # type: ignore[union-attr]

    @property
    def is_cut_off(self) -> bool:
        return self.count == MOST_COUNTED


@dataclass(frozen=True)
class Line:
    """One entry found, with what it changed."""

    told: HistoryLine
    subject: str


def found(asked: Asked, *, user: User, number: int) -> Page[Any]:
    """One page of the record. Two queries; one more where many in a day are asked for or a line is
    about staff, three more where a client is asked for, and those of `lines_of`."""
    page = CountedSoFar(matching(asked, user=user), PAGE_LENGTH).get_page(number)
    lines = lines_of(page.object_list)
    staff = staff_by_subject() if any(map(_is_about_staff, lines)) else {}
    page.object_list = [Line(told, _subject(told.entry.subject, staff)) for told in lines]
    return page


def staff_by_subject() -> dict[str, str]:
    """What an entry about a member of staff has as its subject -> who that is. One query."""
    return {f"{ABOUT_STAFF}{person.pk}": person.signature for person in staff_list()}


def _is_about_staff(told: HistoryLine) -> bool:
    return told.entry.subject.startswith(ABOUT_STAFF)


def _subject(subject: str, staff: Mapping[str, str]) -> str:
    """The name of who it is, where it is one of the staff; else a long number is cut to what tells
    it from others; searched for, it still finds."""
    kind, colon, number = subject.partition(":")
    return staff.get(subject) or f"{kind}{colon}{number[:SHOWN_OF_NUMBER]}"


def matching(asked: Asked, *, user: User) -> QuerySet[Entry]:
    """The entries asked for, in their order."""
    asked = replace(asked, from_on=asked.from_on or asked.usual_from_on)
    wanted = entries().filter(_plainly(asked))
    if asked.client:
        wanted = wanted.filter(client__in=records_found(user, asked.client))
    if asked.worth is Worth.OUTSIDE_HOURS:
        wanted = _outside_hours(wanted)
    elif asked.worth is Worth.NEVER_TREATED:
        wanted = _by_strangers(wanted)
    elif asked.worth is Worth.MANY_IN_A_DAY:
        wanted = _by_openers_of_many(wanted, asked)
    newest = asked.order is Order.LATEST
    return wanted.order_by(*(("-at", "-pk") if newest else ("at", "pk")))


def _plainly(asked: Asked) -> Q:
    wanted = Q()
    if asked.by is not None:
        wanted &= Q(by=asked.by)
    if asked.action in {"looks", "changes"}:
        looks = Q(verb__in=LOOKS)
        wanted &= looks if asked.action == "looks" else ~looks
    elif asked.action:
        wanted &= Q(verb=asked.action)
    if asked.came_from:
        wanted &= Q(came_from__startswith=asked.came_from) | Q(session_mark=asked.came_from)
    if asked.subject:
        wanted &= Q(subject__icontains=asked.subject) | Q(subject__in=_staff_called(asked.subject))
    return wanted & _between(asked)


def _staff_called(words: str) -> list[str]:
    staff = staff_by_subject().items()
    return [subject for subject, name in staff if words.casefold() in name.casefold()]


def _between(asked: Asked) -> Q:
    wanted = Q()
    if asked.from_on is not None:
        wanted &= Q(at__gte=_midnight(asked.from_on))
    if asked.to_on is not None:
        wanted &= Q(at__lt=_midnight(asked.to_on + timedelta(days=1)))
    return wanted


def _outside_hours(wanted: QuerySet[Entry]) -> QuerySet[Entry]:
    """When no therapist's working hours run, or on a day on which the clinic is closed."""
    open_then = WorkingHours.objects.filter(
        weekday=OuterRef("weekday") - 1,
        from_time__lte=OuterRef("clock"),
        to_time__gte=OuterRef("clock"),
    )
    closed = Closure.objects.filter(first_on__lte=OuterRef("day"), last_on__gte=OuterRef("day"))
    local = {"tzinfo": timezone.get_default_timezone()}
    return wanted.annotate(
        weekday=ExtractIsoWeekDay("at", **local),
        clock=TruncTime("at", **local),
        day=TruncDate("at", **local),
    ).filter(~Exists(open_then) | Exists(closed))


def _by_strangers(wanted: QuerySet[Entry]) -> QuerySet[Entry]:
    """Clinical staff and a client with whom they have no booking, note or episode."""
    person, client = OuterRef("by"), OuterRef("client")
    booked = Appointment.objects.filter(client=client, therapist=person)
    noted = VisitNote.objects.filter(
        Q(therapist=person) | Q(signed_by=person) | Q(cosigned_by=person), episode__client=client
    )
    treated = Episode.objects.filter(client=client, therapist=person)
    return wanted.filter(
        ~Exists(booked),
        ~Exists(noted),
        ~Exists(treated),
        client__isnull=False,
        by__role__in=CLINICAL,
    )


def _by_openers_of_many(wanted: QuerySet[Entry], asked: Asked) -> QuerySet[Entry]:
    """The lines of each person's days with at least so many different clients."""
    local = TruncDate("at", tzinfo=timezone.get_default_timezone())
    many = (
        Entry.objects.filter(_between(asked), client__isnull=False)
        .annotate(day=local)
        .order_by()
        .values_list("by", "day")
        .annotate(clients=Count("client", distinct=True))
        .filter(clients__gte=asked.many)
    )
    days: dict[Any, list[date]] = defaultdict(list)
    for person, day, _ in many:
        days[person].append(day)
    condition = Q(pk__in=[])
    for person, theirs in days.items():
        condition |= Q(by=person, day__in=theirs)
    return wanted.annotate(day=local).filter(condition, client__isnull=False)


def _midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time.min))


# As a file


def csv_lines(asked: Asked, *, user: User) -> Iterator[str]:
    """Every line asked for, not only a page, with a bounded number in memory. Header first."""
    writer = csv.writer(_Echo())
    yield SIGNATURE + writer.writerow(CSV_COLUMNS)
    staff = staff_by_subject()
    for entry in matching(asked, user=user).iterator(chunk_size=CHUNK):
        yield writer.writerow([harmless(cell) for cell in _cells(entry, staff)])


def _cells(entry: Entry, staff: Mapping[str, str]) -> list[str]:
    client: Client | None = entry.client
    return [
        timezone.localtime(entry.at).isoformat(timespec="seconds"),
        entry.by.display_name,
        entry.by.get_role_display(),
        sentence(entry.verb),
        client.record_number if client else "",
        staff.get(entry.subject, entry.subject),
        entry.came_from,
        entry.session_mark,
    ]


class _Echo:
    """What a CSV writer writes is handed on at once."""

    def write(self, text: str) -> str:
        return text

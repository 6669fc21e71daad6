"""Reads about letters on their way: names, addresses and days, never what a letter says."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Value
from django.db.models.fields.json import KeyTransform
from django.db.models.functions import Coalesce, TruncMonth
from procrastinate.contrib.django.models import ProcrastinateJob

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Referrer, folded
from clinic.letters.models import ProgressLetter
from clinic.letters.runs.selectors import is_anyone_compiling
from clinic.letters.sending.models import STANDING, Batch, MailAgreement, Sending
from clinic.letters.sending.ways import Output, State, Way
from clinic.scheduling.selectors.reminders import mail_is_set_up

# More than a practice writes in a month, and 12 s of merging on a busy machine; the list says when
# there are others.
MOST_SHOWN = 200
LOG_LENGTH = 50
# Named, not imported: the task imports what sends.
MAIL_TASK = "letters.mail"
# All of a letter that this page may read: nothing it says.
COLUMNS = (
    "id",
    "approved_at",
    "period_to",
    "episode__client__given_name",
    "episode__client__family_name",
    "episode__client__record_number",
    "episode__client__folded_name",
    "episode__client__agrees_to_letters",
    "referrer",
)
ORDERS = {
    "addressee": ("referrer__folded_name", "referrer", "episode__client__folded_name", "period_to"),
    "client": ("episode__client__folded_name", "period_to"),
    "day": ("approved_at", "referrer__folded_name"),
}


@dataclass(frozen=True)
class Wanted:
    """What the list of letters to send is asked for."""

    month: date | None = None
    delivery: str = ""
    order: str = "addressee"


@dataclass(frozen=True)
class LetterToSend:
    """One approved letter that has not gone out: whose, to whom, how. Nothing it says."""

    id: UUID
    client_id: UUID
    client: str
    client_folded: str
    record_number: str
    client_agrees: bool
    approved_at: datetime
    period_to: date
    referrer: Referrer
    in_letter: tuple[str, ...]
    may_be_mailed: bool

    @property
    def address(self) -> tuple[str, ...]:
        """The address as it stands today, line by line."""
        return address_of(self.referrer)

    @property
    def has_moved(self) -> bool:
        """Whether today's address is another than the one printed in the letter."""
        return self.address != self.in_letter

    @property
    def can_be_posted(self) -> bool:
        return bool(self.referrer.street and self.referrer.town)

    @property
    def decide_field(self) -> str:
        return f"decide_{self.id.hex}"

    @property
    def reason_field(self) -> str:
        return f"reason_{self.id.hex}"


@dataclass(frozen=True)
class ToSend:
    letters: tuple[LetterToSend, ...]
    total: int
    months: tuple[date, ...]


def address_of(referrer: Referrer) -> tuple[str, ...]:
    """As a letter prints it: the speciality stands in only where no organisation is named."""
    place = referrer.organisation or referrer.speciality
    return tuple(filter(None, [str(referrer), place, referrer.street, referrer.town]))


def _waiting() -> QuerySet[ProgressLetter]:
    standing = Sending.objects.filter(STANDING, letter=OuterRef("pk"))
    rows = ProgressLetter.objects.filter(approved_at__isnull=False, referrer__isnull=False)
    return rows.filter(~Exists(standing))


def letters_to_send(user: User, wanted: Wanted) -> ToSend:
    """The approved letters nobody has sent, at most MOST_SHOWN. Four queries."""
    if not permits.may(user, "letters.send"):
        return ToSend((), 0, ())
    rows = _waiting()
    months = rows.annotate(month=TruncMonth("period_to")).values_list("month", flat=True)
    listed = tuple(months.distinct().order_by("-month"))
    if wanted.month:
        rows = rows.filter(period_to__year=wanted.month.year, period_to__month=wanted.month.month)
    if wanted.delivery:
        rows = rows.filter(referrer__delivery=wanted.delivery)
    ordered = rows.order_by(*ORDERS[wanted.order], "pk")
    return ToSend(listed_letters(ordered[:MOST_SHOWN]), rows.count(), listed)


def chosen_letters(ids: Collection[UUID]) -> tuple[LetterToSend, ...]:
    """Those of the letters that still wait. Two queries."""
    return listed_letters(_waiting().filter(pk__in=ids))


def letter_of(sending: Sending) -> LetterToSend:
    """A sent letter as the list would show it. Two queries."""
    return listed_letters(ProgressLetter.objects.filter(pk=sending.letter_id))[0]


def listed_letters(rows: QuerySet[ProgressLetter]) -> tuple[LetterToSend, ...]:
    read = rows.select_related("episode__client", "referrer").only(
        *COLUMNS, *(f"referrer__{field.name}" for field in Referrer._meta.concrete_fields)
    )
    found = list(read.annotate(in_letter=KeyTransform("addressee", "summary")))
    agreed = agreed_to_mail({row.referrer_id for row in found})
    return tuple(_listed(row, agreed) for row in found)


def agreed_to_mail(referrer_ids: Collection[UUID | None]) -> frozenset[UUID]:
    """Which of the referrers have an agreement that stands. One query."""
    standing = MailAgreement.objects.filter(referrer__in=referrer_ids, ended_at=None)
    return frozenset(standing.values_list("referrer_id", flat=True))


def _listed(row: Any, agreed: frozenset[UUID]) -> LetterToSend:
    client, referrer = row.episode.client, row.referrer
    return LetterToSend(
        id=row.pk,
        client_id=client.pk,
        client=str(client),
        client_folded=client.folded_name,
        record_number=client.record_number,
        client_agrees=client.agrees_to_letters,
        approved_at=row.approved_at,
        period_to=row.period_to,
        referrer=referrer,
        in_letter=_lines(row.in_letter),
        may_be_mailed=bool(
            referrer.email
            and referrer.delivery == "email"
            and referrer.pk in agreed
            and mail_is_set_up()
        ),
    )


def _lines(printed: dict[str, str]) -> tuple[str, ...]:
    place = printed["organisation"] or printed["speciality"]
    return tuple(filter(None, [printed["name"], place, printed["street"], printed["town"]]))


def batches_for(user: User) -> QuerySet[Batch]:
    found = Batch.objects.all() if permits.may(user, "letters.send") else Batch.objects.none()
    return found.select_related("made_by")


def open_batches(user: User) -> QuerySet[Batch]:
    """Batches with letters that nobody has confirmed, oldest first. One query."""
    is_open = Q(sendings__sent_at=None, sendings__failed_at=None, sendings__put_back_at=None)
    is_open &= ~Q(sendings__way=Way.NONE)
    counted = batches_for(user).annotate(open_count=Count("sendings", filter=is_open))
    return counted.filter(open_count__gt=0).order_by("made_at")


def sendings_for(user: User) -> QuerySet[Sending]:
    """Sendings with names joined and nothing a letter says."""
    found = Sending.objects.all() if permits.may(user, "letters.send") else Sending.objects.none()
    joined = found.select_related(
        "batch", "letter__episode__client", "referrer", "sent_by", "put_back_by"
    )
    return joined.only(
        *(field.name for field in Sending._meta.concrete_fields),
        *(f"letter__{name}" for name in COLUMNS[:-1]),
        "letter__episode__client__born_on",
        "batch__output",
        "batch__made_at",
        "referrer__title",
        "referrer__given_name",
        "referrer__family_name",
        "sent_by__display_name",
        "put_back_by__display_name",
    )


def sendings_of(batch: Batch, user: User) -> tuple[Sending, ...]:
    """A batch's sendings in posting order. One query."""
    return tuple(sendings_for(user).filter(batch=batch).order_by("place"))


def mails_waiting(batch: Batch, user: User) -> list[Sending]:
    """The batch's e-mails that nobody has tried, in posting order. One query."""
    rows = sendings_of(batch, user)
    return [row for row in rows if row.way_word is Way.EMAIL and row.state is State.WAITING]


@dataclass(frozen=True)
class Mailing:
    """How far the worker is with a batch's e-mails. `has_stopped`: it ended before the last."""

    total: int
    waiting: int
    is_under_way: bool = False
    is_stuck: bool = False  # nobody is there to work
    has_stopped: bool = False

    @property
    def is_going_on(self) -> bool:
        """Whether the outcome of a letter that was tried may come at any moment."""
        return self.is_under_way and not self.is_stuck

    @property
    def done(self) -> int:
        return self.total - self.waiting


def mailing_of(batch: Batch, rows: Collection[Sending]) -> Mailing:
    """`rows` are all of the batch. Two queries at most, none for a batch without e-mail."""
    mails = [row.state for row in rows if row.way_word is Way.EMAIL]
    waiting = mails.count(State.WAITING)
    if batch.output_word is not Output.MAIL:
        return Mailing(len(mails), waiting)
    asked = ProcrastinateJob.objects.filter(task_name=MAIL_TASK, args__batch_id=str(batch.pk))
    last = asked.order_by("-id").values_list("status", flat=True).first()
    is_under_way = last in {"todo", "doing"}
    return Mailing(
        total=len(mails),
        waiting=waiting,
        is_under_way=is_under_way,
        is_stuck=is_under_way and not is_anyone_compiling(),
        has_stopped=last == "failed" and waiting > 0,
    )


def bytes_of_letters(sendings: Iterable[Sending]) -> dict[UUID, bytes]:
    """The very bytes that were approved, by letter. One query."""
    rows = ProgressLetter.objects.filter(pk__in=[row.letter_id for row in sendings])
    return {pk: bytes(pdf) for pk, pdf in rows.values_list("pk", "pdf")}


def agreement_with(referrer: Referrer) -> MailAgreement | None:
    """The e-mail agreement that stands, if any. One query."""
    return MailAgreement.objects.filter(referrer=referrer, ended_at=None).first()


@dataclass(frozen=True)
class LogSearch:
    """What the sent log is asked for."""

    words: str = ""
    month: date | None = None
    way: str = ""
    page: int = 1


def sent_log(user: User, search: LogSearch) -> Page[Sending]:
    """One page of sendings, latest first: one count, one query."""
    found = sendings_for(user).annotate(day=Coalesce("sent_at", "failed_at", "batch__made_at"))
    for part in search.words.replace("\0", " ").replace(",", " ").split():
        word = folded(Value(part))
        found = found.filter(
            Q(letter__episode__client__folded_name__contains=word)
            | Q(referrer__folded_name__contains=word)
            | Q(letter__episode__client__record_number__iexact=part)
        )
    if search.month:
        found = found.filter(day__year=search.month.year, day__month=search.month.month)
    if search.way:
        found = found.filter(way=search.way)
    return Paginator(found.order_by("-day", "-batch__made_at", "place"), LOG_LENGTH).get_page(
        search.page
    )


def log_months(user: User) -> tuple[date, ...]:
    """Months in which something was sent or tried. One query."""
    days = sendings_for(user).annotate(day=Coalesce("sent_at", "failed_at", "batch__made_at"))
    months = days.annotate(month=TruncMonth("day")).order_by("-month")
    return tuple(month.date() for month in months.values_list("month", flat=True).distinct())


def last_print() -> Batch | None:
    """The last printed batch, for the same choices again. One query."""
    return Batch.objects.filter(output=Output.PRINT).order_by("-made_at").first()

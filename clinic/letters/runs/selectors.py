"""Reads about monthly runs. A therapist sees the letters of own episodes, the lead all."""

from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from dateutil.relativedelta import relativedelta
from django.core.paginator import Page, Paginator
from django.db.models import Case, Count, IntegerField, Q, QuerySet, Value, When
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateWorker

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.common.vocabulary import Role, Word
from clinic.letters.models import LetterRun, RunLetter
from clinic.letters.runs.sentences import because, failed_because
from clinic.letters.runs.words import RowState
from clinic.letters.story_words import Story

PAGE_LENGTH = 50
MONTHS_OFFERED = 12
# A worker tells of itself every few seconds; one unheard of for so long is not there.
HEARD_WITHIN = timedelta(seconds=30)


class Shown(Word):
    """The lists of a run's page. Approved is said by the letter, not by the row."""

    TO_REVIEW = "to_review", "to review"
    HELD = "held", "held"
    APPROVED = "approved", "approved"
    SKIPPED = "skipped", "skipped"
    FAILED = "failed", "not compiled"
    WAITING = "waiting", "waiting"
    NOT_OWED = "not_owed", "no letter owed"


APPROVED = Q(letter__approved_at__isnull=False)
WHICH: dict[Shown, Q] = {
    Shown.TO_REVIEW: Q(state=RowState.COMPILED) & ~APPROVED,
    Shown.HELD: Q(state=RowState.HELD) & ~APPROVED,
    Shown.APPROVED: APPROVED,
    Shown.SKIPPED: Q(state=RowState.SKIPPED),
    Shown.FAILED: Q(state=RowState.FAILED),
    Shown.WAITING: Q(state=RowState.OWED),
    Shown.NOT_OWED: Q(state=RowState.NOT_OWED),
}
SEVERITY = Case(
    *(When(story=story, then=Value(rank)) for rank, story in enumerate(Story)),
    default=Value(len(Story)),
    output_field=IntegerField(),
)
HELD_LAST = Case(
    When(state=RowState.HELD, then=Value(1)), default=Value(0), output_field=IntegerField()
)


def runs_for(user: User) -> QuerySet[LetterRun]:
    if not permits.may(user, "letters.run"):
        return LetterRun.objects.none()
    return LetterRun.objects.select_related("started_by", "considered_by")


def rows_for(user: User) -> QuerySet[RunLetter]:
    """The rows that this person may review; people, client and referrers joined."""
    if not permits.may(user, "letters.run"):
        return RunLetter.objects.none()
    joined = RunLetter.objects.select_related(
        "run",
        "episode__client__referrer",
        "episode__referrer",
        "episode__therapist",
        "letter__approved_by",
        "letter__referrer",
        "decided_by",
    ).defer("letter__pdf", "letter__summary")
    return joined if user.role == Role.CLINIC_LEAD else joined.filter(episode__therapist=user)


@dataclass(frozen=True)
class Counts:
    """How many rows stand where, and how many in all. `owed` leaves out those not owed."""

    of: dict[Shown, int]

    @property
    def to_review(self) -> int:
        return self.of[Shown.TO_REVIEW]

    @property
    def held(self) -> int:
        return self.of[Shown.HELD]

    @property
    def approved(self) -> int:
        return self.of[Shown.APPROVED]

    @property
    def skipped(self) -> int:
        return self.of[Shown.SKIPPED]

    @property
    def failed(self) -> int:
        return self.of[Shown.FAILED]

    @property
    def waiting(self) -> int:
        return self.of[Shown.WAITING]

    @property
    def owed(self) -> int:
        return sum(self.of.values()) - self.of[Shown.NOT_OWED]

    @property
    def compiled(self) -> int:
        return self.owed - self.waiting

    @property
    def tabs(self) -> tuple[tuple[Shown, int], ...]:
        return tuple(self.of.items())


def counts_of(run: LetterRun, user: User) -> Counts:
    """One query."""
    counted = rows_for(user).filter(run=run).order_by()
    totals = {shown.value: Count("pk", filter=which) for shown, which in WHICH.items()}
    found = counted.aggregate(**totals)
    return Counts({shown: found[shown.value] for shown in WHICH})


@dataclass(frozen=True)
class RunListed:
    run: LetterRun
    counts: Counts


def runs_listed(user: User) -> list[RunListed]:
    """The runs of the last year, latest first. One query, and one a run."""
    return [RunListed(run, counts_of(run, user)) for run in runs_for(user)[:MONTHS_OFFERED]]


def months_offered(today: date) -> list[date]:
    """First days of the months that have ended, latest first."""
    this_month = today.replace(day=1)
    return [this_month - relativedelta(months=back) for back in range(1, MONTHS_OFFERED + 1)]


@dataclass(frozen=True)
class RowShown:
    row: RunLetter
    because: str
    failed_because: str


def rows_shown(run: LetterRun, user: User, *, shown: Shown, number: object) -> Page:
    """One page of one list. Two queries."""
    rows = rows_for(user).filter(WHICH[shown], run=run)
    page = Paginator(_in_order(rows), PAGE_LENGTH).get_page(number)
    page.object_list = [RowShown(row, because(row), failed_because(row)) for row in page]
    return page


def _in_order(rows: QuerySet[RunLetter]) -> QuerySet[RunLetter]:
    """What asks most of the reader first."""
    return rows.order_by(HELD_LAST, SEVERITY, "episode__client__folded_name", "pk")


def first_filled(counts: Counts) -> Shown:
    """The list to open with: the first that holds something."""
    return next((shown for shown, count in counts.tabs if count), Shown.TO_REVIEW)


@dataclass(frozen=True)
class Queue:
    """The letters still to decide on, and where one of them stands among them."""

    ids: tuple[UUID, ...]
    at: int | None

    @property
    def place(self) -> int:
        return 0 if self.at is None else self.at + 1

    @property
    def before(self) -> UUID | None:
        return self.ids[self.at - 1] if self.at else None

    @property
    def after(self) -> UUID | None:
        follows = 0 if self.at is None else self.at + 1
        return self.ids[follows] if follows < len(self.ids) else None


def queue_of(run: LetterRun, user: User, row: RunLetter | None = None) -> Queue:
    """One query."""
    wanted = WHICH[Shown.TO_REVIEW] | WHICH[Shown.HELD]
    rows = _in_order(rows_for(user).filter(wanted, run=run))
    ids = tuple(rows.values_list("pk", flat=True))
    return Queue(ids, ids.index(row.pk) if row and row.pk in ids else None)


def is_anyone_compiling() -> bool:
    """Whether a worker has told of itself lately."""
    since = timezone.now() - HEARD_WITHIN
    return ProcrastinateWorker.objects.filter(last_heartbeat__gte=since).exists()

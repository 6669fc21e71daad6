"""How the record is kept at present: backups, drills, what is late, what waits."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import QuerySet
from django.utils import timezone

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.keeping.models import WAITING, Erasure, Merge, Run, RunKind

# A night's backup may be missed once before it is called late; a weekly drill likewise.
# Common practice, no source.
LATE_AFTER = {RunKind.BACKUP: timedelta(hours=36), RunKind.DRILL: timedelta(days=9)}
RUNS_SHOWN = 10


@dataclass(frozen=True)
class Standing:
    """The last good run of a kind, and the newest if that failed."""

    kind: RunKind
    last_good: Run | None
    failed: Run | None
    is_late: bool

    @property
    def needs_attention(self) -> bool:
        return self.is_late or self.failed is not None


@dataclass(frozen=True)
class Notice:
    """A line on today, with the page that helps."""

    words: str
    url_name: str
    is_warning: bool


def standings(*, now: datetime) -> tuple[Standing, ...]:
    """Backup and drill. Two queries each."""
    return tuple(_standing(kind, now) for kind in LATE_AFTER)


def latest_runs() -> QuerySet[Run]:
    return Run.objects.all()[:RUNS_SHOWN]


def erasures(user: User) -> QuerySet[Erasure]:
    """Everything asked, with who asked, confirmed and withdrew; none for the front desk."""
    if not permits.may(user, "erasures.see"):
        return Erasure.objects.none()
    return Erasure.objects.select_related("client", "asked_by", "confirmed_by", "withdrawn_by")


def erasures_waiting(user: User) -> QuerySet[Erasure]:
    """Those neither confirmed nor withdrawn."""
    return erasures(user).filter(WAITING)


def merges() -> QuerySet[Merge]:
    return Merge.objects.select_related("kept", "other", "by")


def notices_for(user: User) -> list[Notice]:
    """What today says about the record's keeping to this person. At most five queries."""
    found = []
    if settings.BACKUPS_EXPECTED and permits.may(user, "keeping.see"):
        found += list(_late(timezone.now()))
    if permits.may(user, "erasures.confirm") and (count := _to_confirm(user).count()):
        words = "erasure waits" if count == 1 else "erasures wait"
        found.append(Notice(f"{count} {words} for a second person.", "erasures", False))
    return found


def _to_confirm(user: User) -> QuerySet[Erasure]:
    """Those that this person could confirm: asked by somebody else."""
    return erasures_waiting(user).exclude(asked_by=user)


def _late(now: datetime) -> Iterator[Notice]:
    for standing in standings(now=now):
        if standing.failed is not None:
            yield Notice(f"The last {standing.kind.label} failed.", "keeping", True)
        elif standing.last_good is None:
            yield Notice(f"There has been no {standing.kind.label} yet.", "keeping", True)
        elif standing.is_late:
            yield Notice(f"The {standing.kind.label} is late.", "keeping", True)


def _standing(kind: RunKind, now: datetime) -> Standing:
    runs = Run.objects.filter(kind=kind)
    newest, last_good = runs.first(), runs.filter(is_good=True).first()
    return Standing(
        kind=kind,
        last_good=last_good,
        failed=newest if newest is not None and not newest.is_good else None,
        is_late=last_good is None or now - last_good.began_at > LATE_AFTER[kind],
    )

"""Reads about staff and the practice."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from axes.models import AccessAttempt
from django.conf import settings
from django.db.models import QuerySet, Sum
from django.utils import timezone
from django.utils.crypto import salted_hmac

from clinic.accounts.access import AccountEvent, SecondFactor, SignedIn
from clinic.accounts.models import Practice, SavedView, User


def practice_card() -> Practice:
    """The practice, with defaults until the clinic lead has filled it in. One query."""
    return Practice.objects.filter(pk=1).first() or Practice()


def active_person(user_id: int) -> User | None:
    """An account that may sign in. One query."""
    return User.objects.filter(pk=user_id, is_active=True).first()


def staff_list() -> QuerySet[User]:
    """Every account, those in use first."""
    return User.objects.order_by("-is_active", "display_name")


def saved_views(user: User) -> QuerySet[SavedView]:
    """This person's own views of the caseload, by name; nobody else's are ever in it."""
    return SavedView.objects.filter(owner=user)


# Events shown of one account; the older ones stay in the database.
MOST_EVENTS = 12


def second_factor_of(user: User) -> SecondFactor | None:
    """The authenticator app a person has set up. One query."""
    return SecondFactor.objects.filter(user=user).first()


def recovery_codes_left(user: User) -> int:
    return user.recovery_codes.filter(used_at=None).count()


@dataclass(frozen=True)
class SignInCard:
    """One place where a person is signed in. `mark` tells it from others without its secret key."""

    mark: str
    device: str
    address: str
    started_at: datetime
    seen_at: datetime
    is_this: bool


def sign_ins_of(user: User, *, this_key: str | None = None) -> list[SignInCard]:
    """Where a person is signed in now, the latest seen first. One query."""
    now = timezone.now()
    rows = SignedIn.objects.filter(
        user=user,
        started_at__gt=now - timedelta(minutes=settings.SESSION_MINUTES),
        seen_at__gt=now - timedelta(minutes=settings.IDLE_MINUTES),
    ).order_by("-seen_at")
    return [
        SignInCard(
            mark=mark_of(row.session_key),
            device=row.device or "an unknown device",
            address=row.address or "not known",
            started_at=row.started_at,
            seen_at=row.seen_at,
            is_this=row.session_key == this_key,
        )
        for row in rows
    ]


def mark_of(session_key: str) -> str:
    """What a page may say of a session: its key itself would open it."""
    return salted_hmac("ebbline sign-in", session_key, algorithm="sha256").hexdigest()[:24]


def account_events(user: User) -> QuerySet[AccountEvent]:
    """The last things done to a person's ways in. One query."""
    return AccountEvent.objects.filter(about=user).select_related("by")[:MOST_EVENTS]


def access_shown(user: User, *, this_key: str | None = None) -> dict[str, Any]:
    """What a page tells of a person's ways in. Five queries."""
    factor = second_factor_of(user)
    is_code_waiting = factor is not None and factor.wait() > timedelta(0)
    return {
        "factor": factor,
        "codes_left": recovery_codes_left(user),
        "sign_ins": sign_ins_of(user, this_key=this_key),
        "events": account_events(user),
        "is_locked": is_code_waiting or user.sign_in_name.casefold() in locked_names(),
    }


def locked_names() -> set[str]:
    """Sign-in names, as typed, that are shut out at some address just now. One query."""
    since = timezone.now() - settings.AXES_COOLOFF_TIME
    counted = (
        AccessAttempt.objects.filter(attempt_time__gte=since)
        .values("username", "ip_address")
        .annotate(failures=Sum("failures_since_start"))
        .filter(failures__gte=settings.AXES_FAILURE_LIMIT)
    )
    return {row["username"] for row in counted}

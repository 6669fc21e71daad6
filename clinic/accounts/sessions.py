"""Sessions in the database, each tied to the person who signed in there."""

from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.utils import timezone

from clinic.accounts.access import SignedIn

# Where a sign-in happened: its keys in the session are the columns of the row.
PLACE = "place"
# Within this part of the time allowed, last seen is not written again: a page costs no write.
SEEN_PART = 30


class SessionStore(DatabaseStore):
    """Django's own store, with whose session it is and when they were last seen."""

    seen_at: datetime | None = None

    @classmethod
    def get_model_class(cls) -> type[SignedIn]:
        return SignedIn

    def load(self) -> dict[str, Any]:
        row = self._get_session_from_db()
        self.seen_at = row.seen_at if row else None
        return self.decode(row.session_data) if row else {}

    def cycle_key(self) -> None:
        self.seen_at = None
        super().cycle_key()

    def flush(self) -> None:
        self.seen_at = None
        super().flush()

    def create_model_instance(self, data: dict[str, Any]) -> SignedIn:
        row: SignedIn = super().create_model_instance(data)
        place = data.get(PLACE, {})
        row.user_id = data.get(SESSION_KEY)
        row.seen_at = self.seen_at or timezone.now()
        row.started_at = _moment(place.get("at")) or row.seen_at
        row.address, row.device = place.get("address"), place.get("device", "")
        return row

    @property
    def idle_for(self) -> timedelta:
        return timezone.now() - self.seen_at if self.seen_at else timedelta(0)

    @property
    def left(self) -> timedelta:
        """How long the sign-in still lasts, if the person does nothing more.

        Django moves a session's own end on with each change of it; the limit counts from the start.
        """
        began = _moment(self.get(PLACE, {}).get("at"))
        age = timezone.now() - began if began else timedelta(0)
        return min(idle_limit() - self.idle_for, sign_in_limit() - age)

    @property
    def is_over(self) -> bool:
        return self.left <= timedelta(0)

    def seen(self) -> None:
        """Note that the person did something just now."""
        if self.seen_at and self.idle_for >= idle_limit() / SEEN_PART:
            self.seen_at = timezone.now()
            SignedIn.objects.filter(session_key=self.session_key).update(seen_at=self.seen_at)


def idle_limit() -> timedelta:
    return timedelta(minutes=settings.IDLE_MINUTES)


def sign_in_limit() -> timedelta:
    return timedelta(minutes=settings.SESSION_MINUTES)


def _moment(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None

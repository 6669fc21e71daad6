"""The only writer of the access and change record."""

from typing import Any

from django.db.models import Model

from clinic.accounts.models import User
from clinic.audit.models import Entry
from clinic.audit.origin import origin_of_now


def record(by: User, verb: str, *, client: Any = None, subject: Model | None = None) -> None:
    """Add one entry; inside a service's transaction it stands or falls with the change itself."""
    text = f"{subject._meta.model_name}:{subject.pk}" if subject is not None else ""
    origin = origin_of_now()
    Entry.objects.create(
        by=by,
        verb=verb,
        client=client,
        subject=text,
        came_from=origin.address,
        session_mark=origin.session_mark,
    )

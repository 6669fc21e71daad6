"""What other apps have to say on today; `TODAY_NOTICES` names their selectors."""

from typing import Protocol

from django.conf import settings
from django.utils.module_loading import import_string

from clinic.accounts.models import User


class Notice(Protocol):
    """A line with the page that helps."""

    words: str
    url_name: str
    is_warning: bool


def notices_for(user: User) -> list[Notice]:
    """Everything that this person should know today, in the order of the settings."""
    return [notice for name in settings.TODAY_NOTICES for notice in import_string(name)(user)]

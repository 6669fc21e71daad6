"""What every page's frame needs to know."""

from django.conf import settings
from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from clinic.accounts.selectors import practice_card


def practice(request: HttpRequest) -> dict[str, object]:
    return {
        "practice": SimpleLazyObject(practice_card),
        "is_trial": settings.IS_TRIAL,
        "idle_s": round(60 * settings.IDLE_MINUTES),
    }

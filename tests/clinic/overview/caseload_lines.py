"""Episodes of the caseload for its tests, and the lines it makes of them."""

import re
from datetime import timedelta
from typing import Any

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.overview.caseload import Asked
from clinic.overview.caseload_page import CaseloadPage, caseload
from measurements.services.standings import keep_standings
from tests.builders import (
    ARM_SWOLLEN_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
    today,
)

PAGE = "/caseload/"
MUCH_SWOLLEN_CM = [girth + 1.5 for girth in ARM_SWOLLEN_CM]


def person(name: str, therapist: User, **differences: Any) -> Episode:
    return make_episode(make_client(family_name=name, given_name="A."), therapist, **differences)


def taped(episode: Episode, *girths: list[float], ended_days_ago: int = 0) -> Episode:
    """Sessions thirty days apart, the last so many days ago; the first is the baseline."""
    protocol = make_protocol()
    for number, right_cm in enumerate(reversed(girths)):
        make_session(
            episode,
            protocol,
            taken_on=today() - timedelta(days=ended_days_ago + 30 * number),
            right_cm=right_cm,
            is_baseline=number == len(girths) - 1,
        )
    keep_standings([episode.pk])
    return episode


def found(user: User, **asked: Any) -> CaseloadPage:
    return caseload(user, Asked(**asked), today=today())


def names(page: CaseloadPage) -> list[str]:
    return [shown.line.name.split(",")[0] for shown in page.lines]


def text_of(response: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))

"""What sessions and courses say, read with a fixed number of queries and computed when asked."""

from collections.abc import Iterable
from uuid import UUID

from clinic.clients.models import Episode
from measurements.models import GirthSession
from measurements.report import LimbCourse, SessionReport


def session_report(session: GirthSession) -> SessionReport:
    """All that one session says, against its baseline and the session before it."""
    raise NotImplementedError


def episode_course(episode: Episode) -> tuple[LimbCourse, ...]:
    """The course of each kind of limb taped in the episode, arm first; struck sessions left out."""
    raise NotImplementedError


def latest_by_episode(episodes: Iterable[Episode]) -> dict[UUID, tuple[SessionReport, ...]]:
    """Episode id -> the latest session's report of each kind of limb taped, arm first.

    An episode without a session is absent. The number of queries does not grow with the list.
    """
    raise NotImplementedError

"""What sessions and courses say, read with a fixed number of queries and computed when asked."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from uuid import UUID

from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.clients.selectors import episodes_for
from clinic.common.vocabulary import Limb
from measurements.models import GirthSession
from measurements.report import LimbCourse, SessionReport
from measurements.selectors.courses import course_of, report_within
from measurements.selectors.taped import Taped, joined, sessions_listed, taped

Key = tuple[UUID, str]  # one kind of limb in one episode


def sessions_for(user: User) -> QuerySet[GirthSession]:
    """The sessions this person may see, struck ones too, with episode and client joined."""
    seen = GirthSession.objects.filter(episode__in=episodes_for(user))
    return joined(seen).select_related("episode__client")


def session_report(session: GirthSession) -> SessionReport:
    """All that one session says, against its baseline and the session before it: 5 queries."""
    listed = sessions_listed([session.episode])
    others = [each for each in listed if each.limb == session.limb and each.pk != session.pk]
    earlier = [each for each in others if _moment(each) < _moment(session)]
    found = taped([session, *_needed(earlier)])
    now = found.pop(session.pk)
    return report_within(now, _oldest_first(found.values()))


def episode_course(
    episode: Episode, *, listed: Iterable[GirthSession] | None = None
) -> tuple[LimbCourse, ...]:
    """The course of each kind of limb taped, arm first; struck sessions left out: 6 queries.

    `listed` spares one of them: every session of the episode, where a page has read them already.
    """
    sessions = sessions_listed([episode]) if listed is None else listed
    found = taped(session for session in sessions if session.struck_at is None)
    phases = list(episode.phase_changes.all())
    by_limb = _by_limb(_oldest_first(found.values()))
    return tuple(course_of(by_limb[limb], phases) for limb in Limb if limb in by_limb)


def latest_by_episode(episodes: Iterable[Episode]) -> dict[UUID, tuple[SessionReport, ...]]:
    """Episode id -> the latest session's report of each kind of limb taped, arm first: 5 queries.

    An episode without a session is absent. The number of queries does not grow with the list.
    """
    listed: defaultdict[Key, list[GirthSession]] = defaultdict(list)
    for each in sessions_listed(episodes):
        listed[each.episode_id, each.limb].append(each)
    found = taped(session for each in listed.values() for session in _needed(each))
    reports: defaultdict[UUID, list[SessionReport]] = defaultdict(list)
    for episode_id, limb in sorted(listed):
        own = [found[session.pk] for session in _needed(listed[episode_id, limb])]
        sessions = _oldest_first(own)
        reports[episode_id].append(report_within(sessions[-1], sessions))
    return {episode_id: tuple(each) for episode_id, each in reports.items()}


def all_sessions(episode: Episode) -> list[GirthSession]:
    """Every session of an episode, struck ones too, latest first, for its list. One query."""
    found = joined(episode.girth_sessions.all())
    return list(found.order_by("-taken_on", "-round", "-recorded_at"))


def _needed(sessions: Sequence[GirthSession]) -> list[GirthSession]:
    """The baseline and the last two: what the last session's report rests on."""
    last_two = sessions[-2:]
    return [each for each in sessions if each.is_baseline or each in last_two]


def _moment(each: GirthSession) -> tuple[object, ...]:
    return each.taken_on, each.round, each.recorded_at


def _oldest_first(sessions: Iterable[Taped]) -> list[Taped]:
    return sorted(sessions, key=lambda each: _moment(each.session))


def _by_limb(sessions: Iterable[Taped]) -> Mapping[Limb, list[Taped]]:
    by_limb: defaultdict[Limb, list[Taped]] = defaultdict(list)
    for each in sessions:
        by_limb[each.facts.limb].append(each)
    return by_limb

"""What a session says, and how a limb went through an episode."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.clients.selectors import episodes_for, with_story
from measurements.charts import course_figure, girth_figure
from measurements.limb.error import TAPE_ERRORS
from measurements.limb.thresholds import ARMER_STEWART_2005
from measurements.outline import outline_of
from measurements.report import LimbCourse
from measurements.selectors.findings import latest_findings
from measurements.selectors.reports import (
    all_sessions,
    episode_course,
    session_report,
    sessions_for,
)
from measurements.trend_drawing import trend_drawing


@permit("girths.see")
@require_safe
def session(request: HttpRequest, session_id: UUID) -> HttpResponse:
    session = get_object_or_404(sessions_for(request.user), pk=session_id)
    report = session_report(session)
    audit.record(request.user, "girths.seen", client=session.episode.client, subject=session)
    shown = {
        "session": session,
        "client": session.episode.client,
        "report": report,
        "facts": report.facts,
        "outline": outline_of(report),
        "tape": TAPE_ERRORS[report.facts.limb],
        "rates": ARMER_STEWART_2005,
        "section": "clients",
    }
    return render(request, "measurements/session.html", shown)


@permit("girths.see")
@require_safe
def course(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = get_object_or_404(with_story(episodes_for(request.user)), pk=episode_id)
    sessions = all_sessions(episode)
    courses = episode_course(episode, listed=sessions)
    audit.record(request.user, "girths.seen", client=episode.client, subject=episode)
    regions = list(episode.regions.all())
    stages = latest_findings(regions)
    shown = {
        "episode": episode,
        "client": episode.client,
        "courses": [_drawn(course) for course in courses],
        "sessions": sessions,
        "stages": [(region, stages.get(region.pk)) for region in regions],
        "section": "clients",
    }
    return render(request, "measurements/course.html", shown)


def _drawn(course: LimbCourse) -> dict[str, object]:
    """A course with its figures; their ids carry the limb, so that arm and leg stay apart."""
    return {
        "course": course,
        "limb": course.limb,
        "figure": course_figure(course),
        "girths": girth_figure(course),
        "still": trend_drawing(course),
        "figure_id": f"{course.limb}-figure",
        "girths_id": f"{course.limb}-girths",
        "still_id": f"{course.limb}-still",
    }

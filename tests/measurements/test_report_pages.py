"""The session page and the course page."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.accounts.models import User
from clinic.audit.models import Entry
from clinic.clients.models import Episode
from clinic.common.vocabulary import Involvement, Region, RegionSide
from measurements.models import GirthSession
from tests.builders import (
    ARM_OTHER_CM,
    ARM_SWOLLEN_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
    today,
)
from tests.cast import Cast

# The thin no-break space and the signs that the filters write.
THIN, MINUS = "\N{NARROW NO-BREAK SPACE}", "\N{MINUS SIGN}"


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


@pytest.fixture
def baseline(episode: Episode) -> GirthSession:
    started_on = today() - timedelta(days=60)
    return make_session(episode, make_protocol(), taken_on=started_on, is_baseline=True)


def smaller(by_cm: float) -> list[float]:
    return [round(girth - by_cm, 1) for girth in ARM_SWOLLEN_CM]


def later(session: GirthSession, days: int, **differences: object) -> GirthSession:
    return make_session(
        session.episode,
        session.protocol,
        taken_on=session.taken_on + timedelta(days=days),
        **differences,
    )


def page_of(browser: Browser, session: GirthSession) -> str:
    return browser.get(reverse("girths-session", args=[session.pk])).content.decode()


def course_of(browser: Browser, session: GirthSession) -> str:
    return browser.get(reverse("girths-course", args=[session.episode_id])).content.decode()


def test_the_session_page_says_the_published_numbers_first(
    therapist: Browser, baseline: GirthSession
) -> None:
    # Worked examples "arm-4cm-affected", "-unaffected", "-comparison": 2217.081 and 1848.018 mL,
    # 369.063 mL, 19.9708 %, which prints as 20.0 % and is still below the 20 % limit.
    page = page_of(therapist, baseline)
    answer = page[page.index("What this session says") : page.index("Severity by volume")]
    for number in (f"369{THIN}mL", f"20.0{THIN}%", f"2,217{THIN}mL", f"1,848{THIN}mL"):
        assert number in answer
    assert "more than the left" in answer
    assert "beyond measurement error" in answer
    assert "<dd>minimal</dd>" in page


def test_the_session_page_shows_each_criterion_with_its_source(
    therapist: Browser, baseline: GirthSession
) -> None:
    page = page_of(therapist, baseline)
    assert "Volume difference of 200 mL or more" in page
    assert "DOI 10.1089/lrb.2015.0011" in page
    assert "The criteria disagree" in page
    assert "from memory, not re-read" in page


def test_a_change_that_is_only_tape_error_is_called_so(
    therapist: Browser, baseline: GirthSession
) -> None:
    page = page_of(therapist, later(baseline, 7, right_cm=smaller(0.1)))
    changes = page[page.index('id="changes"') : page.index('id="criteria"')]
    assert "within measurement error" in changes
    assert "verdict-down" not in changes


def test_a_real_fall_carries_its_word_and_its_sign(
    therapist: Browser, baseline: GirthSession
) -> None:
    page = page_of(therapist, later(baseline, 7, right_cm=smaller(1.0)))
    changes = page[page.index('id="changes"') : page.index('id="criteria"')]
    assert "verdict-down" in changes
    assert MINUS in changes


def test_a_struck_session_is_shown_as_struck(
    therapist: Browser, baseline: GirthSession, cast: Cast
) -> None:
    wrong = later(baseline, 7)
    wrong.struck_at, wrong.struck_by, wrong.struck_reason = (
        wrong.recorded_at,
        cast.therapist,
        "wrong client on the couch",
    )
    wrong.save()
    page = page_of(therapist, wrong)
    assert "wrong client on the couch" in page
    assert "counts nowhere" in page
    assert reverse("girths-baseline", args=[wrong.pk]) not in page
    assert "wrong client on the couch" in course_of(therapist, baseline)


def test_one_limb_alone_shows_its_volume_and_says_why_there_is_no_difference(
    therapist: Browser, episode: Episode
) -> None:
    session = make_session(episode, make_protocol(), taken_on=today(), left_cm=[])
    page = page_of(therapist, session)
    assert f"2,217{THIN}mL" in page
    assert "Only one limb was taped" in page


def test_bilateral_disease_has_no_excess_and_no_severity_band(
    therapist: Browser, cast: Cast
) -> None:
    regions = [
        (Region.ARM, RegionSide.LEFT, Involvement.SWOLLEN),
        (Region.ARM, RegionSide.RIGHT, Involvement.SWOLLEN),
    ]
    episode = make_episode(make_client(), cast.therapist, regions=regions)
    first = make_session(
        episode, make_protocol(), taken_on=today() - timedelta(days=30), is_baseline=True
    )
    page = page_of(therapist, later(first, 20, right_cm=smaller(1.0)))
    assert "neither is a healthy comparison" in page
    for compared in ("more than the", "less than the"):
        assert compared not in page
    assert "Weight-adjusted, right" in page
    assert "Change of each arm from baseline" in course_of(therapist, first)


def test_opening_a_session_or_a_course_is_on_record(
    therapist: Browser, baseline: GirthSession
) -> None:
    page_of(therapist, baseline)
    course_of(therapist, baseline)
    assert Entry.objects.filter(verb="girths.seen", client=baseline.episode.client).count() == 2


@pytest.mark.parametrize("name", ["girths-session", "girths-course"])
def test_reports_answer_reads_only(therapist: Browser, baseline: GirthSession, name: str) -> None:
    key = baseline.pk if name == "girths-session" else baseline.episode_id
    assert therapist.post(reverse(name, args=[key])).status_code == 405


@pytest.mark.parametrize("name", ["girths-session", "girths-course"])
def test_the_front_desk_sees_no_girths(desk: Browser, baseline: GirthSession, name: str) -> None:
    key = baseline.pk if name == "girths-session" else baseline.episode_id
    response = desk.get(reverse(name, args=[key]))
    assert response.status_code == 403
    assert b"2,217" not in response.content


def test_a_session_that_is_not_there_is_a_plain_404(therapist: Browser, cast: Cast) -> None:
    nowhere = "00000000-0000-4000-8000-000000000000"
    assert therapist.get(reverse("girths-session", args=[nowhere])).status_code == 404
    assert therapist.get(reverse("girths-course", args=[nowhere])).status_code == 404


def test_an_episode_without_sessions_says_what_to_do_next(
    therapist: Browser, episode: Episode
) -> None:
    page = therapist.get(reverse("girths-course", args=[episode.pk])).content.decode()
    assert "Nothing has been taped" in page
    assert "plotly.min.js" not in page


def test_the_course_page_lists_the_numbers_that_the_chart_draws(
    therapist: Browser, baseline: GirthSession
) -> None:
    later(baseline, 20, right_cm=smaller(1.0))
    page = course_of(therapist, baseline)
    table = page[page.index('id="arm-table"') : page.index("</table>", page.index("arm-table"))]
    assert f"+369{THIN}mL" in table
    assert f"+20.0{THIN}%" in table
    assert "verdict-down" in table


@pytest.mark.parametrize("name", ["girths-session", "girths-course"])
def test_pages_take_the_same_number_of_queries_whatever_the_history(
    signed_in: Callable[[User], Browser],
    baseline: GirthSession,
    cast: Cast,
    name: str,
) -> None:
    browser = signed_in(cast.therapist)

    def count() -> int:
        latest = baseline.episode.girth_sessions.latest("taken_on")
        key = latest.pk if name == "girths-session" else baseline.episode_id
        with CaptureQueriesContext(connection) as queries:
            assert browser.get(reverse(name, args=[key])).status_code == 200
        return len(queries)

    later(baseline, 1), later(baseline, 2)
    few = count()
    for days in range(3, 13):
        later(baseline, days, left_cm=ARM_OTHER_CM)
    assert count() == few


def test_nothing_on_the_pages_needs_inline_style_or_script(
    therapist: Browser, baseline: GirthSession
) -> None:
    later(baseline, 10)
    for page in (page_of(therapist, baseline), course_of(therapist, baseline)):
        assert " style=" not in page
        assert "<style" not in page
        assert "onclick" not in page

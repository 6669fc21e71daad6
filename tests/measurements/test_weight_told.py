"""Where pages and notes tell of a limb in bilateral disease, they say what weight makes of it."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.clients.models import Episode
from clinic.common.vocabulary import Involvement, Region, RegionSide
from clinic.visits.snapshot import reading_lines
from measurements.models import GirthSession
from measurements.selectors.reports import session_report
from measurements.services.standings import keep_standings
from tests.builders import (
    ARM_SWOLLEN_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
    today,
)
from tests.cast import Cast

THIN, MINUS = "\N{NARROW NO-BREAK SPACE}", "\N{MINUS SIGN}"
BOTH_ARMS = [
    (Region.ARM, side, Involvement.SWOLLEN) for side in (RegionSide.LEFT, RegionSide.RIGHT)
]
# Girths times 0.97: volume times 0.97 squared, 5.9 % less.
SMALLER_CM = [round(girth * 0.97, 1) for girth in ARM_SWOLLEN_CM]


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist, regions=BOTH_ARMS)


def taped(episode: Episode, first_kg: str | None, last_kg: str | None) -> GirthSession:
    """Both arms alike, two sessions; the last one."""
    protocol, sessions = make_protocol(), []
    for days, girths, kg in ((30, ARM_SWOLLEN_CM, first_kg), (0, SMALLER_CM, last_kg)):
        session = make_session(
            episode,
            protocol,
            taken_on=today() - timedelta(days=days),
            is_baseline=days == 30,
            right_cm=girths,
            left_cm=girths,
            weight_kg=Decimal(kg) if kg else None,
        )
        sessions.append(session)
    keep_standings([episode.pk])
    return sessions[-1]


def words_of(browser: Browser, url: str) -> str:
    page = re.sub(r"<[^>]+>", " ", browser.get(url).content.decode())
    return re.sub(r"\s+", " ", page.replace(THIN, " "))


def pages(browser: Browser, session: GirthSession) -> dict[str, str]:
    return {
        "session": words_of(browser, reverse("girths-session", args=[session.pk])),
        "course": words_of(browser, reverse("girths-course", args=[session.episode_id])),
        "client": words_of(browser, reverse("client", args=[session.episode.client_id])),
    }


def test_a_fall_that_does_not_hold_beside_weight_is_told_with_both_numbers(
    therapist: Browser, episode: Episode
) -> None:
    session = taped(episode, "80.0", "75.2")
    for name, said in pages(therapist, session).items():
        assert "smaller, beyond measurement error" in said, name
        assert f"But not when adjusted for weight (weight {MINUS}6.0 %" in said, name
        assert "adjusted +0.1 % ± 2.4 %)" in said, name
    assert "when adjusted for weight" in words_of(therapist, reverse("caseload"))
    right, *_ = (line for line in reading_lines(session_report(session)) if line[:5] == "right")
    assert "smaller, beyond measurement error, but not when adjusted for weight (" in right
    assert f"(weight {MINUS}6.0{THIN}%, adjusted +0.1{THIN}% ± 2.4{THIN}%)." in right


def test_a_fall_that_holds_when_adjusted_for_weight_is_better(
    therapist: Browser, episode: Episode
) -> None:
    session = taped(episode, "80.0", "80.0")
    for name, said in pages(therapist, session).items():
        assert "Also when adjusted for weight (weight 0.0 %" in said, name
        assert f"adjusted {MINUS}5.9 % ± 2.3 %)" in said, name
    assert "Better" in words_of(therapist, reverse("caseload"))


def test_a_missing_weight_is_said_plainly(therapist: Browser, episode: Episode) -> None:
    session = taped(episode, None, "75.0")
    for name, said in pages(therapist, session).items():
        assert "Weight not taken into account" in said, name
    assert "Body weight is not known for every session" in pages(therapist, session)["session"]
    lines = list(reading_lines(session_report(session)))
    assert any("(weight not taken into account)." in each for each in lines)


def test_nothing_of_weight_is_said_where_one_limb_is_sound(therapist: Browser, cast: Cast) -> None:
    session = taped(make_episode(make_client(), cast.therapist), None, "75.0")
    for name, said in pages(therapist, session).items():
        assert "adjusted" not in said, name
        assert "eight not taken" not in said, name

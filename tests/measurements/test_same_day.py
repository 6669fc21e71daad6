"""Two people record the same limb for the same day; striking out, correcting, baseline."""

from concurrent.futures import ThreadPoolExecutor
from datetime import date, time
from threading import Barrier
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, close_old_connections, connection, transaction
from django.test import Client as Browser
from django.urls import reverse

from clinic.accounts.models import User
from clinic.audit.models import Entry
from clinic.clients.models import Episode
from clinic.common.vocabulary import Limb, Posture, Side
from measurements.errors import SameDaySession
from measurements.limb.girth import Reading
from measurements.models import (
    GirthDraft,
    GirthReading,
    GirthSession,
    Protocol,
)
from measurements.services.record import record_session
from measurements.taped import Confirmed, SessionTaped, TapedFacts
from tests.builders import (
    ARM_LEVELS_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
    today,
)
from tests.cast import Cast, make_cast
from tests.measurements.entry_pages import (
    LEFT_CM,
    RIGHT_CM,
    day_before,
    enter_address,
    page_typed,
    recording,
)


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


@pytest.fixture
def protocol(db: None) -> Protocol:
    return make_protocol()


@pytest.fixture
def theirs(episode: Episode, protocol: Protocol, cast: Cast) -> GirthSession:
    """What the other therapist recorded for today a moment ago."""
    return make_session(
        episode,
        protocol,
        taken_on=today(),
        taken_at=time(9, 5),
        taken_by=cast.other_therapist,
        right_cm=[girth + 0.2 for girth in RIGHT_CM],
        is_baseline=True,
    )


def decide(
    browser: Browser, episode: Episode, protocol: Protocol, session: GirthSession, **choice: str
) -> Any:
    seen = {"seen": str(session.pk), "replaces": str(session.pk)}
    return browser.post(enter_address(episode), recording(protocol) | seen | choice)


def test_the_second_sees_the_firsts_girths_beside_their_own(
    therapist: Browser, episode: Episode, protocol: Protocol, theirs: GirthSession
) -> None:
    answer = therapist.post(enter_address(episode), recording(protocol))
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Tilda Brook" in page
    assert "<td>32.7\u202fcm</td><td>32.5\u202fcm</td>" in page
    assert 'name="girth-right-40-1" value="32.5"' in page
    assert GirthSession.objects.count() == 1


def test_keeping_theirs_drops_ones_own_and_its_draft(
    therapist: Browser, episode: Episode, protocol: Protocol, theirs: GirthSession
) -> None:
    therapist.post(reverse("girths-draft", args=[episode.pk]), page_typed(protocol))
    answer = decide(therapist, episode, protocol, theirs, choice="keep")
    assert answer.url == reverse("girths-session", args=[theirs.pk])
    assert GirthSession.objects.count() == 1
    assert not GirthDraft.objects.exists()


def test_a_further_taping_of_the_day_is_its_second_round(
    therapist: Browser, episode: Episode, protocol: Protocol, theirs: GirthSession
) -> None:
    decide(therapist, episode, protocol, theirs, choice="further")
    assert set(GirthSession.objects.values_list("round", "is_baseline")) == {(1, True), (2, False)}


def test_replacing_strikes_theirs_out_with_the_reason_and_takes_its_place(
    therapist: Browser, episode: Episode, protocol: Protocol, theirs: GirthSession
) -> None:
    decide(therapist, episode, protocol, theirs, choice="replace", reason="sides swapped")
    theirs.refresh_from_db()
    mine = theirs.replaced_by
    assert (theirs.struck_reason, theirs.struck_by.sign_in_name) == ("sides swapped", "theo")
    assert (mine.round, mine.is_baseline) == (1, True)


@pytest.mark.parametrize("choice", ["replace", "whatever"])
def test_a_choice_without_its_reason_loses_nothing(
    therapist: Browser, episode: Episode, protocol: Protocol, theirs: GirthSession, choice: str
) -> None:
    answer = decide(therapist, episode, protocol, theirs, choice=choice, reason=" ")
    assert answer.status_code == 409
    assert 'value="32.5"' in answer.content.decode()
    assert GirthSession.objects.filter(struck_at=None).count() == 1


def test_a_third_session_meanwhile_is_shown_before_anything_is_saved(
    therapist: Browser, episode: Episode, protocol: Protocol, theirs: GirthSession
) -> None:
    make_session(episode, protocol, taken_on=today(), taken_at=time(11, 0), round=2)
    answer = decide(therapist, episode, protocol, theirs, choice="further")
    assert answer.status_code == 409
    assert GirthSession.objects.count() == 2


def test_back_from_the_choice_everything_is_still_typed(
    therapist: Browser, episode: Episode, protocol: Protocol, theirs: GirthSession
) -> None:
    answer = therapist.post(enter_address(episode), page_typed(protocol) | {"do": "show"})
    assert 'name="girth-right-40-1" value="32.5"' in answer.content.decode()


def test_the_database_keeps_one_live_session_a_round(
    episode: Episode, protocol: Protocol, theirs: GirthSession
) -> None:
    with pytest.raises(IntegrityError, match="session_once_per_round"), transaction.atomic():
        make_session(episode, protocol, taken_on=today())


@pytest.mark.parametrize(
    ("differences", "constraint"),
    [
        ({"girth_cm": 0}, "girth_above_zero"),
        ({"trial": 4}, "at_most_three_trials"),
        ({"level_cm": 0}, "girth_once_per_level"),
        ({"side": "mid"}, "reading_side_is_known"),
    ],
)
def test_the_database_refuses_girths_that_cannot_be(
    theirs: GirthSession, differences: dict[str, object], constraint: str
) -> None:
    values = {"side": "left", "level_cm": 44, "trial": 1, "girth_cm": 30} | differences
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        GirthReading.objects.create(session=theirs, **values)


# Striking out and correcting


def test_a_session_is_struck_out_with_a_reason_and_stays(
    therapist: Browser, theirs: GirthSession
) -> None:
    address = reverse("girths-strike", args=[theirs.pk])
    assert "It is the baseline" in therapist.get(address).content.decode()
    therapist.post(address, {"reason": "wrong client"})
    theirs.refresh_from_db()
    assert theirs.struck_reason == "wrong client"
    assert theirs.readings.count() == 22
    assert Entry.objects.filter(verb="girths.struck").count() == 1


def test_striking_out_needs_a_reason(therapist: Browser, theirs: GirthSession) -> None:
    answer = therapist.post(reverse("girths-strike", args=[theirs.pk]), {"reason": " "})
    assert "This field is required" in answer.content.decode()
    theirs.refresh_from_db()
    assert theirs.struck_at is None


def test_a_corrected_session_starts_from_the_struck_one_and_replaces_it(
    therapist: Browser, episode: Episode, protocol: Protocol, theirs: GirthSession
) -> None:
    answer = therapist.post(
        reverse("girths-strike", args=[theirs.pk]), {"reason": "typing slip", "then": "correct"}
    )
    page = therapist.get(answer.url).content.decode()
    assert 'name="girth-right-40-1" value="32.7"' in page
    assert "typing slip" in page
    therapist.post(enter_address(episode), recording(protocol, corrects=str(theirs.pk)))
    theirs.refresh_from_db()
    assert theirs.replaced_by.is_baseline


def test_a_retired_protocol_may_be_followed_by_a_correction_only(
    therapist: Browser, episode: Episode, protocol: Protocol, theirs: GirthSession
) -> None:
    therapist.post(reverse("girths-strike", args=[theirs.pk]), {"reason": "typing slip"})
    Protocol.objects.filter(pk=protocol.pk).update(retired_at="2026-01-01T00:00Z")
    therapist.post(enter_address(episode), recording(protocol, corrects=str(theirs.pk)))
    assert GirthSession.objects.get(struck_at=None).protocol == protocol


def test_another_session_can_be_made_the_baseline(
    therapist: Browser, episode: Episode, protocol: Protocol, theirs: GirthSession
) -> None:
    earlier = make_session(episode, protocol, taken_on=day_before(today(), 30))
    therapist.post(reverse("girths-baseline", args=[earlier.pk]))
    assert GirthSession.objects.get(is_baseline=True) == earlier


def test_a_struck_session_is_no_baseline(therapist: Browser, theirs: GirthSession) -> None:
    therapist.post(reverse("girths-strike", args=[theirs.pk]), {"reason": "wrong"})
    page = therapist.post(reverse("girths-baseline", args=[theirs.pk]), follow=True)
    assert "struck out already" in page.content.decode()


@pytest.mark.parametrize("name", ["girths-strike", "girths-baseline"])
def test_the_front_desk_may_do_neither(desk: Browser, theirs: GirthSession, name: str) -> None:
    assert desk.post(reverse(name, args=[theirs.pk])).status_code == 403


def test_the_baseline_is_not_changed_by_reading(therapist: Browser, theirs: GirthSession) -> None:
    assert therapist.get(reverse("girths-baseline", args=[theirs.pk])).status_code == 405


# At the very same moment


def taped_today(protocol: Protocol, shift_cm: float, on: date) -> SessionTaped:
    girths = {Side.RIGHT: RIGHT_CM, Side.LEFT: LEFT_CM}
    readings = tuple(
        Reading(side, float(level), round(girth + shift_cm, 1))
        for side, taped in girths.items()
        for level, girth in zip(ARM_LEVELS_CM, taped, strict=True)
    )
    sure = frozenset((side, float(level)) for side in Side for level in ARM_LEVELS_CM)
    facts = TapedFacts(Limb.ARM, protocol.pk, on, Posture.SITTING)
    return SessionTaped(facts, tuple(girths), readings, confirmed=Confirmed(sure))


def test_of_two_at_once_one_is_kept_and_the_other_asked(transactional_db: None) -> None:
    cast = make_cast()
    episode, protocol = make_episode(make_client(), cast.therapist), make_protocol()
    people = [cast.therapist, cast.other_therapist, cast.lead]
    barrier = Barrier(len(people))

    def save(person: User, shift_cm: float) -> str:
        close_old_connections()
        barrier.wait()
        try:
            taped = taped_today(protocol, shift_cm, today())
            record_session(episode=episode, taped=taped, by=person)
        except SameDaySession as asked:
            return f"asked about {len(asked.sessions)}"
        finally:
            connection.close()
        return "kept"

    with ThreadPoolExecutor(len(people)) as threads:
        outcomes = sorted(threads.map(save, people, (0.0, 0.1, 0.2)))
    assert outcomes == ["asked about 1", "asked about 1", "kept"]
    assert GirthSession.objects.get().readings.count() == 22


def test_an_absent_session_is_not_found(therapist: Browser) -> None:
    assert therapist.get(reverse("girths-strike", args=[uuid4()])).status_code == 404

"""The page of a visit: all of it, as of its day, in a fixed number of queries."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.accounts.models import User
from clinic.clients.models import AffectedRegion, Episode, PhaseChange
from clinic.common.vocabulary import Involvement, Phase, Precaution, Region, RegionSide
from clinic.visits.desk import VisitDesk
from clinic.visits.models import VisitNote
from clinic.visits.red_flags import RedFlagKind, Sign
from clinic.visits.selectors.notes import notes_for, notes_of, unsigned_notes, visit_desk
from clinic.visits.words import NoteState, Section
from measurements.report import Caution
from programmes.services.care import Asked, Told, record_adherence, review_precautions
from tests.builders import (
    ARM_SWOLLEN_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
    today,
)
from tests.cast import Cast
from tests.clinic.scheduling.desk import booked
from tests.clinic.visits.charting import PLANNED, draft, ready, signed

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


@pytest.fixture
def episode(cast: Cast) -> Episode:
    opened_on = today() - timedelta(days=120)
    return make_episode(make_client(), cast.therapist, opened_on=opened_on, phase=Phase.MAINTENANCE)


def desk_of(note: VisitNote, user: User) -> VisitDesk:
    return visit_desk(notes_for(user).get(pk=note.pk), user)


def rose(times: float) -> list[float]:
    return [girth * times for girth in ARM_SWOLLEN_CM]


def kinds(desk: VisitDesk) -> list[RedFlagKind]:
    return [each.flag.kind for each in desk.red_flags]


# The note before


def test_the_last_signed_note_is_shown_even_if_a_draft_is_later(
    cast: Cast, episode: Episode
) -> None:
    before = signed(cast.therapist, episode, visited_on=today() - 7 * DAY)
    ready(cast.therapist, episode, visited_on=today() - 2 * DAY)
    last = desk_of(draft(cast.therapist, episode), cast.therapist).last_note
    assert last
    assert (last.id, last.plan, last.state) == (before.pk, PLANNED, NoteState.SIGNED)


def test_what_changed_since_the_last_visit_is_told_and_nothing_older(
    cast: Cast, episode: Episode
) -> None:
    protocol = make_protocol()
    make_session(episode, protocol, taken_on=today() - 30 * DAY)
    signed(cast.therapist, episode, visited_on=today() - 20 * DAY)
    make_session(episode, protocol, taken_on=today() - 10 * DAY)
    PhaseChange.objects.create(
        episode=episode,
        phase=Phase.INTENSIVE,
        since_on=today() - 5 * DAY,
        reason="Swelling is back",
        by=cast.therapist,
    )
    answer = Asked(asked_on=today() - DAY, yes=(Precaution.CHEMOTHERAPY,))
    review_precautions(client=episode.client, asked=answer, by=cast.therapist)
    told = desk_of(draft(cast.therapist, episode), cast.therapist).changes
    assert [each.text for each in told] == [
        "Girths taped: arm",
        "Phase: intensive. Swelling is back",
        "Precaution found: chemotherapy in course or low platelets",
    ]


# The record as of the day


def test_what_came_after_the_visit_is_not_shown_on_a_note_written_late(
    cast: Cast, episode: Episode
) -> None:
    protocol = make_protocol()
    make_session(episode, protocol, taken_on=today() - 3 * DAY)
    make_session(episode, protocol, taken_on=today())
    desk = desk_of(draft(cast.therapist, episode, visited_on=today() - 3 * DAY), cast.therapist)
    assert [each.facts.taken_on for each in desk.measured_today] == [today() - 3 * DAY]
    assert len(desk.courses[0].points) == 1


def test_a_precaution_found_since_does_not_bar_an_earlier_visit(
    cast: Cast, episode: Episode
) -> None:
    answer = Asked(asked_on=today(), yes=(Precaution.ACUTE_CLOT,))
    review_precautions(client=episode.client, asked=answer, by=cast.therapist)
    earlier = draft(cast.therapist, episode, visited_on=today() - DAY)
    assert not desk_of(earlier, cast.therapist).precautions.barring
    now = desk_of(draft(cast.therapist, episode), cast.therapist)
    assert [each.precaution for each in now.precautions.barring] == [Precaution.ACUTE_CLOT]
    assert now.precautions.is_asked


def test_todays_answers_and_the_next_booking_are_shown(cast: Cast, episode: Episode) -> None:
    told = Told(recorded_on=today(), days_done=5)
    record_adherence(episode=episode, told=told, by=cast.therapist)
    booked(cast.therapist, today(), client=episode.client)
    booked(cast.therapist, today() + 4 * DAY, client=episode.client)
    booked(cast.therapist, today() + 9 * DAY, client=episode.client)
    desk = desk_of(draft(cast.therapist, episode), cast.therapist)
    assert desk.next_booking
    assert desk.next_booking.starts_at.date() == today() + 4 * DAY
    assert desk.adherence_today.latest
    assert desk.adherence_today.latest.days_done == 5


def test_phrases_are_filled_with_the_clients_numbers(cast: Cast, episode: Episode) -> None:
    protocol = make_protocol()
    make_session(episode, protocol, taken_on=today() - 30 * DAY, is_baseline=True)
    make_session(episode, protocol, taken_on=today(), right_cm=rose(1.01))
    desk = desk_of(ready(cast.therapist, episode), cast.therapist)
    offered = {each.name: each.filled for part in desk.sections for each in part.phrases}
    taped = offered["Today's taping"]
    assert taped.missing == ()
    compared = desk.measured_today[0].comparison
    assert compared
    assert f"{compared.excess_percent:.1f}" in taped.text
    assert offered["Well tolerated"].text.startswith("55 minutes")
    assert offered["Skin sound"].text.startswith("Skin of the right arm")
    assert "____" in offered["Report due"].text


# Red flags


def test_a_sudden_rise_taped_today_raises_its_flag(cast: Cast, episode: Episode) -> None:
    protocol = make_protocol()
    make_session(episode, protocol, taken_on=today() - 7 * DAY)
    make_session(episode, protocol, taken_on=today(), right_cm=rose(1.08))
    desk = desk_of(draft(cast.therapist, episode), cast.therapist)
    assert Caution.SUDDEN_RISE in desk.measured_today[0].cautions
    assert kinds(desk) == [RedFlagKind.SUDDEN_RISE]
    assert desk.red_flags[0].flag.because[0].startswith("right arm rose by 17 %")


def test_the_same_rise_taped_last_week_raises_none_today(cast: Cast, episode: Episode) -> None:
    protocol = make_protocol()
    make_session(episode, protocol, taken_on=today() - 9 * DAY)
    make_session(episode, protocol, taken_on=today() - 2 * DAY, right_cm=rose(1.08))
    assert kinds(desk_of(draft(cast.therapist, episode), cast.therapist)) == []


def test_a_rapid_fall_is_flagged_in_maintenance_and_wanted_in_an_intensive_phase(
    cast: Cast,
) -> None:
    found = {}
    for phase in (Phase.MAINTENANCE, Phase.INTENSIVE):
        opened_on = today() - 60 * DAY
        episode = make_episode(make_client(), cast.therapist, opened_on=opened_on, phase=phase)
        protocol = make_protocol()
        make_session(episode, protocol, taken_on=today() - 20 * DAY)
        make_session(episode, protocol, taken_on=today(), right_cm=rose(0.95))
        found[phase] = kinds(desk_of(draft(cast.therapist, episode), cast.therapist))
    assert found == {Phase.MAINTENANCE: [RedFlagKind.RAPID_CHANGE], Phase.INTENSIVE: []}


def test_a_swelling_elsewhere_since_the_last_signed_note_is_flagged(
    cast: Cast, episode: Episode
) -> None:
    signed(cast.therapist, episode, visited_on=today() - 7 * DAY)
    swollen = {"involvement": Involvement.SWOLLEN, "side": RegionSide.RIGHT}
    AffectedRegion.objects.create(episode=episode, region=Region.BREAST, **swollen)
    assert kinds(desk_of(draft(cast.therapist, episode), cast.therapist)) == []
    AffectedRegion.objects.create(episode=episode, region=Region.LEG, **swollen)
    desk = desk_of(draft(cast.therapist, episode), cast.therapist)
    assert kinds(desk) == [RedFlagKind.NEW_REGION]
    assert desk.red_flags[0].flag.because == ("right leg",)


def test_at_a_first_note_nothing_is_new(cast: Cast) -> None:
    regions = [
        (Region.ARM, RegionSide.RIGHT, Involvement.SWOLLEN),
        (Region.LEG, RegionSide.LEFT, Involvement.SWOLLEN),
    ]
    episode = make_episode(make_client(), cast.therapist, regions=regions)
    assert kinds(desk_of(draft(cast.therapist, episode), cast.therapist)) == []


def test_signs_ticked_raise_their_flags_the_most_urgent_first(cast: Cast, episode: Episode) -> None:
    signs = frozenset({Sign.LUMP, Sign.CHEST_PAIN})
    desk = desk_of(ready(cast.therapist, episode, typed={"signs": signs}), cast.therapist)
    assert kinds(desk) == [RedFlagKind.EMERGENCY, RedFlagKind.NEW_LUMP]
    assert len(desk.open_red_flags) == 2


# Lists and queries


def test_the_front_desk_finds_no_note(cast: Cast, episode: Episode) -> None:
    note = signed(cast.therapist, episode)
    assert not notes_for(cast.front_desk).exists()
    assert note in notes_for(cast.lead)


def test_drafts_wait_for_who_wrote_them(cast: Cast, episode: Episode) -> None:
    note = draft(cast.therapist, episode)
    signed(cast.therapist, episode, visited_on=today() - DAY)
    assert list(unsigned_notes(cast.therapist)) == [note]
    assert not unsigned_notes(cast.other_therapist).exists()


def queries(read: Callable[[], object]) -> int:
    with CaptureQueriesContext(
        connection,
    ) as captured:
        read()
    return len(captured)


def test_the_page_asks_as_often_with_thirty_notes_as_with_one(cast: Cast, episode: Episode) -> None:
    protocol = make_protocol()

    def visit(on: date) -> None:
        make_session(episode, protocol, taken_on=on)
        signed(cast.therapist, episode, visited_on=on)

    visit(today() - 40 * DAY)
    note = notes_for(cast.therapist).get(pk=ready(cast.therapist, episode).pk)
    one = queries(lambda: visit_desk(note, cast.therapist))
    for days in range(1, 30):
        visit(today() - days * DAY)
    note = notes_for(cast.therapist).get(pk=note.pk)
    assert queries(lambda: visit_desk(note, cast.therapist)) == one
    assert queries(lambda: list(notes_of(episode))) == 1
    assert VisitNote.objects.filter(episode=episode).count() == 31


def test_a_note_of_nothing_but_itself_has_a_page(cast: Cast, episode: Episode) -> None:
    desk = desk_of(draft(cast.therapist, episode), cast.therapist)
    assert desk.measured_today == ()
    assert desk.text(Section.PLAN) == ""
    assert desk.treatment.lines == ()

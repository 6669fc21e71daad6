"""The caseload: whom it shows to whom, what each line says, filters, order, pages."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.models import SavedView
from clinic.audit.models import Entry
from clinic.clients.models import PhaseChange, PrecautionFound
from clinic.common.vocabulary import Involvement, Phase, Precaution, Region, RegionSide
from clinic.overview.caseload import DueBy, JudgedAs, Order
from clinic.overview.concern import Concern, FlagKind
from clinic.scheduling.words import Purpose
from clinic.visits.services.notes import begin_note
from clinic.visits.words import VisitKind
from measurements.services.standings import keep_standings
from tests.builders import ARM_OTHER_CM, ARM_SWOLLEN_CM, make_protocol, make_session, today
from tests.cast import Cast
from tests.clinic.overview.caseload_lines import (
    MUCH_SWOLLEN_CM,
    PAGE,
    found,
    names,
    person,
    taped,
    text_of,
)
from tests.clinic.scheduling.desk_stories import make_appointment

# Whom it shows


def test_a_therapist_sees_her_own_open_episodes_and_everyones_a_click_away(
    cast: Cast, therapist: Browser
) -> None:
    person("Ownley", cast.therapist)
    person("Otherby", cast.other_therapist)
    closed = person("Closeman", cast.therapist)
    PhaseChange.objects.create(
        episode=closed, phase=Phase.DISCHARGED, since_on=today(), reason="Done", by=cast.therapist
    )
    gone = person("Goneby", cast.therapist)
    gone.client.deactivated_at, gone.client.deactivated_reason = timezone.now(), "Moved"
    gone.client.save()
    own = text_of(therapist.get(PAGE))
    assert "Ownley" in own
    assert not [name for name in ("Otherby", "Closeman", "Goneby") if name in own]
    everyones = text_of(therapist.get(PAGE, {"whose": "all"}))
    assert "Ownley" in everyones
    assert "Otherby" in everyones
    theirs = text_of(therapist.get(PAGE, {"whose": str(cast.other_therapist.pk)}))
    assert "Otherby" in theirs
    assert "Ownley" not in theirs


def test_the_front_desk_never_reaches_it_nor_finds_a_link(cast: Cast, desk: Browser) -> None:
    view = SavedView.objects.create(owner=cast.front_desk, name="Mine", asked={"whose": "all"})
    for address in (
        PAGE,
        reverse("caseload-view-new"),
        reverse("caseload-view-edit", args=[view.pk]),
    ):
        assert desk.get(address).status_code == 403
    assert desk.post(reverse("caseload-view-delete", args=[view.pk])).status_code == 403
    assert PAGE not in desk.get("/").content.decode()


def test_the_look_is_logged_once_by_whose_list_it_was(cast: Cast, therapist: Browser) -> None:
    person("Ownley", cast.therapist)
    own, other = cast.therapist.pk, cast.other_therapist.pk
    for whose, subject in (("mine", f"user:{own}"), ("all", ""), (str(other), f"user:{other}")):
        therapist.get(PAGE, {"whose": whose})
        entry = Entry.objects.filter(verb="caseload.seen").latest("pk")
        assert (entry.by, entry.client, entry.subject) == (cast.therapist, None, subject)
    assert Entry.objects.filter(verb="caseload.seen").count() == 3


def test_only_looking_and_searching_are_answered(therapist: Browser) -> None:
    assert therapist.put(PAGE).status_code == 405
    assert therapist.get(reverse("caseload-view-delete", args=[1])).status_code == 405


# What a line says


def test_a_line_says_excess_verdict_change_and_trend(cast: Cast, therapist: Browser) -> None:
    taped(person("Ownley", cast.therapist), ARM_SWOLLEN_CM, MUCH_SWOLLEN_CM)
    (shown,) = found(cast.therapist).lines
    assert shown.line.concern is Concern.WORSE
    page = therapist.get(PAGE)
    words = text_of(page)
    assert "beyond error" in words
    assert "Worse" in words
    assert "Excess of the right arm: first" in page.content.decode()
    assert "style=" not in page.content.decode()


def test_a_session_that_no_earlier_one_can_be_set_against_is_not_called_the_first(
    cast: Cast, therapist: Browser
) -> None:
    episode = person("Ownley", cast.therapist)
    make_session(episode, make_protocol(), taken_on=today() - timedelta(days=30))
    elsewhere = make_protocol(start_landmark="elbow crease")
    make_session(episode, elsewhere, taken_on=today())
    keep_standings([episode.pk])
    words = text_of(therapist.get(PAGE))
    assert "nothing earlier to compare" in words
    assert "first session" not in words


def test_who_was_never_taped_is_said_to_be_and_owes_a_baseline(
    cast: Cast, therapist: Browser
) -> None:
    person("Ownley", cast.therapist)
    words = text_of(therapist.get(PAGE))
    assert "not taped" in words
    assert "baseline girths, arm" in words


def test_a_line_says_visits_and_the_next_booking(cast: Cast, therapist: Browser) -> None:
    episode = person("Ownley", cast.therapist)
    begin_note(episode=episode, kind=VisitKind.TREATMENT, visited_on=today(), by=cast.therapist)
    coming = make_appointment(
        episode.client,
        cast.therapist,
        today() + timedelta(days=3),
        purpose=Purpose.TREATMENT,
    )
    (shown,) = found(cast.therapist).lines
    assert (shown.line.visits, shown.line.last_visit_on) == (1, today())
    assert shown.booking
    assert shown.booking.id == coming.pk
    assert [each.kind for each in shown.line.flags] == [FlagKind.UNSIGNED]
    assert reverse("appointment", args=[coming.pk]) in therapist.get(PAGE).content.decode()


def test_intensive_care_without_a_booking_is_due_by_the_recall_rules(cast: Cast) -> None:
    episode = person("Ownley", cast.therapist)
    (shown,) = found(cast.therapist).lines
    assert "no future booking" in [owed.words for owed in shown.line.owed]
    make_appointment(episode.client, cast.therapist, today() + timedelta(days=3))
    (shown,) = found(cast.therapist).lines
    assert "no future booking" not in [owed.words for owed in shown.line.owed]


def test_a_precaution_that_bars_every_step_comes_first_and_others_are_said(cast: Cast) -> None:
    taped(person("Worseley", cast.therapist), ARM_SWOLLEN_CM, MUCH_SWOLLEN_CM)
    for name, precaution in (
        ("Barredon", Precaution.UNTREATED_INFECTION),
        ("Saidwell", Precaution.CAROTID_SINUS),
    ):
        episode = person(name, cast.therapist)
        PrecautionFound.objects.create(
            client=episode.client, precaution=precaution, found_on=today(), found_by=cast.therapist
        )
    page = found(cast.therapist)
    assert names(page) == ["Barredon", "Worseley", "Saidwell"]
    assert [page.lines[0].line.concern, page.lines[1].line.concern] == [
        Concern.LOOK,
        Concern.WORSE,
    ]
    assert [each.kind for each in page.lines[2].line.flags] == [FlagKind.PRECAUTION]


# The 3 % limit: Stout Gergich et al., Cancer 2008;112:2809-2819.
def test_surveillance_marks_an_arm_more_than_three_per_cent_above_baseline(cast: Cast) -> None:
    at_risk = [(Region.ARM, RegionSide.RIGHT, Involvement.AT_RISK)]
    values = {"phase": Phase.SURVEILLANCE, "regions": at_risk}
    # A girth 3 % larger all along is a volume 6.1 % larger; one 1 % larger a volume 2 % larger.
    larger = [girth * 1.03 for girth in ARM_OTHER_CM]
    hardly = [girth * 1.01 for girth in ARM_OTHER_CM]
    taped(person("Early", cast.therapist, **values), ARM_OTHER_CM, [round(g, 2) for g in larger])
    taped(person("Hardly", cast.therapist, **values), ARM_OTHER_CM, [round(g, 2) for g in hardly])
    page = found(cast.therapist, flag=FlagKind.EARLY_CHANGE)
    assert names(page) == ["Early"]


def test_a_standing_that_is_behind_is_reckoned_afresh_and_said_to_be(
    cast: Cast, therapist: Browser
) -> None:
    episode = taped(person("Ownley", cast.therapist), ARM_SWOLLEN_CM, ended_days_ago=40)
    make_session(episode, make_protocol(), taken_on=today(), right_cm=MUCH_SWOLLEN_CM)
    page = found(cast.therapist)
    assert page.behind == 1
    assert page.lines[0].limbs[0].told.taken_on == today()
    assert "rebuild_standings" in text_of(therapist.get(PAGE))


# Filters and order


@pytest.mark.parametrize(
    ("asked", "wanted"),
    [
        ({"judged": JudgedAs.WORSE}, {"Worseley"}),
        ({"judged": JudgedAs.BETTER}, {"Bettering"}),
        ({"judged": JudgedAs.STEADY}, {"Ångsteady"}),
        ({"judged": JudgedAs.EXCESS}, {"Worseley", "Bettering", "Ångsteady"}),
        ({"judged": JudgedAs.NO_EXCESS}, set()),
        ({"judged": JudgedAs.NOT_TAPED}, {"Untaped"}),
        ({"phase": Phase.MAINTENANCE}, {"Worseley"}),
        ({"region": Region.LEG}, {"Untaped"}),
        ({"due": DueBy.LATE, "region": Region.LEG}, {"Untaped"}),
        ({"due": DueBy.NOTHING, "region": Region.LEG}, set()),
        ({"words": "angst"}, {"Ångsteady"}),
        ({"words": "worseley a"}, {"Worseley"}),
    ],
)
@pytest.mark.usefixtures("three")
def test_filters_find_who_fits(cast: Cast, asked: dict[str, Any], wanted: set[str]) -> None:
    assert set(names(found(cast.therapist, **asked))) == wanted


@pytest.mark.usefixtures("three")
def test_the_order_turns_round_and_who_has_no_value_stays_last(cast: Cast) -> None:
    by_change = names(found(cast.therapist, order=Order.CHANGE))
    assert by_change == ["Worseley", "Ångsteady", "Bettering", "Untaped"]
    turned = names(found(cast.therapist, order=Order.CHANGE, is_descending=True))
    assert turned == ["Bettering", "Ångsteady", "Worseley", "Untaped"]
    assert names(found(cast.therapist))[0] == "Worseley"


def test_a_limb_smaller_than_the_other_has_no_excess(cast: Cast) -> None:
    """Beyond error, but the other way: the arm not affected is the larger one."""
    smaller = [(Region.ARM, RegionSide.LEFT, Involvement.SWOLLEN)]
    taped(person("Smaller", cast.therapist, regions=smaller), ARM_SWOLLEN_CM)
    taped(person("Larger", cast.therapist), ARM_SWOLLEN_CM)
    assert names(found(cast.therapist, judged=JudgedAs.EXCESS)) == ["Larger"]
    assert names(found(cast.therapist, judged=JudgedAs.NO_EXCESS)) == ["Smaller"]


# WAI-ARIA 1.2, aria-sort: "descending" where the items go down by the values of that column.
@pytest.mark.usefixtures("three")
def test_a_heading_tells_the_way_the_values_go(therapist: Browser) -> None:
    for order, way in (
        ("excess", "descending"),
        ("-excess", "ascending"),
        ("name", "ascending"),
        ("-name", "descending"),
        ("due", "ascending"),
    ):
        page = therapist.get(PAGE, {"whose": "mine", "order": order}).content.decode()
        assert re.findall(r'aria-sort="(\w+ding)"', page) == [way]


@pytest.mark.usefixtures("three")
@pytest.mark.parametrize("order", list(Order))
def test_every_heading_sorts(therapist: Browser, order: Order) -> None:
    for sign in ("", "-"):
        page = therapist.get(PAGE, {"whose": "mine", "order": sign + order})
        assert text_of(page).count("Worseley") == text_of(page).count("Untaped")
        assert page.status_code == 200


@pytest.mark.usefixtures("three")
def test_words_are_searched_without_standing_in_an_address(therapist: Browser) -> None:
    sent = therapist.post(PAGE, {"whose": "mine", "words": "angst", "judged": "steady"})
    assert sent.status_code == 302
    assert "angst" not in sent.url
    page = therapist.get(sent.url)
    assert "Ångsteady" in text_of(page)
    assert "Worseley" not in text_of(page)
    assert 'value="angst"' in page.content.decode()
    assert "Worseley" in text_of(therapist.get(PAGE))


@pytest.mark.usefixtures("three")
def test_what_cannot_be_read_counts_as_not_asked(therapist: Browser) -> None:
    bad = {"whose": "9999", "phase": "x", "judged": "'", "due": "\0", "order": "--", "page": "-3"}
    assert "Worseley" in text_of(therapist.get(PAGE, bad))
    assert therapist.post(PAGE, bad | {"words": "\0" * 300}).status_code == 302


def test_a_page_holds_twenty_five_and_the_next_the_rest(cast: Cast, therapist: Browser) -> None:
    for number in range(27):
        person(f"Number{number:02}", cast.therapist)
    asked = {"whose": "mine", "order": "name"}
    first, second = (text_of(therapist.get(PAGE, asked | {"page": n})) for n in (1, 2))
    assert "Number24" in first
    assert "Number25" not in first
    assert "Page 2 of 2" in second
    assert "Number26" in second


def test_an_empty_list_says_so_and_leads_on(therapist: Browser) -> None:
    assert "no open episode of your own" in text_of(therapist.get(PAGE))
    assert "fits all of these" in text_of(
        therapist.get(PAGE, {"whose": "all", "phase": "intensive"})
    )

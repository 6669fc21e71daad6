"""Records past their period are listed, by the clinic's own rules."""

from datetime import UTC, date, datetime, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from django.test import Client as Browser
from django.urls import reverse
from hypothesis import example, given, settings
from hypothesis import strategies as st

from clinic.clients.models import Client
from clinic.keeping.models import RetentionRule
from clinic.keeping.retention import RetentionRules
from clinic.keeping.selectors.retention import kept_until, past_retention
from clinic.scheduling.models import Appointment
from clinic.scheduling.states import Status
from tests.builders import make_client, make_episode, make_protocol, make_session, today
from tests.cast import Cast
from tests.clinic.scheduling.desk import booked, row
from tests.clinic.visits.charting import draft

# 42 CFR 422.504(d) asks 10 years of Medicare Advantage papers; majority at 18. By hand:
# an adult last seen on 4 Mar 2016 is kept to 4 Mar 2026; a child born on 1 Jun 2010 and last seen
# on 4 Mar 2016 to ten years after 1 Jun 2028; one seen last on 29 Feb 2016 to 1 Mar 2026, for on
# 28 Feb 2026 ten years are over only for who was seen on 28 Feb 2016; and born on 29 Feb likewise.
WORKED = [
    (date(2016, 3, 4), date(1961, 3, 4), date(2026, 3, 4)),
    (date(2016, 3, 4), date(2010, 6, 1), date(2038, 6, 1)),
    (date(2016, 2, 29), date(1961, 3, 4), date(2026, 3, 1)),
    (date(2016, 2, 28), date(1961, 3, 4), date(2026, 2, 28)),
    (date(2016, 3, 4), date(2012, 2, 29), date(2040, 2, 29)),
]


@pytest.mark.parametrize(("seen", "born", "until"), WORKED)
def test_periods_worked_by_hand(seen: date, born: date, until: date) -> None:
    assert RetentionRules(10, 18, 10).kept_until(last_seen_on=seen, born_on=born) == until


@given(
    st.dates(date(1950, 1, 1), date(2026, 1, 1)),
    st.integers(0, 90),
    st.integers(1, 30),
    st.integers(0, 30),
)
@settings(max_examples=60, deadline=None)
def test_nobody_is_let_go_before_either_period_is_over(
    seen: date, age: int, years: int, more: int
) -> None:
    born = seen - relativedelta(years=age)
    until = RetentionRules(years, 18, more).kept_until(last_seen_on=seen, born_on=born)
    assert until >= seen + relativedelta(years=years)
    assert until >= born + relativedelta(years=18 + more)


@given(st.dates(date(1950, 1, 1), date(2030, 1, 1)), st.integers(1, 30), st.integers(-3, 3))
@example(seen=date(2016, 2, 29), years=10, days=-1)
@settings(max_examples=200, deadline=None)
def test_the_day_asked_of_the_database_is_the_day_of_the_rule(
    seen: date, years: int, days: int
) -> None:
    """`seen_before` is how the list asks: it may name nobody whom the rule still keeps."""
    rules = RetentionRules(years, 18, 0)
    until = rules.kept_until(last_seen_on=seen, born_on=date(1900, 1, 1))
    on = until + timedelta(days=days)
    assert (seen <= rules.seen_before(on)) == (until <= on)


def registered(years_ago: int, days: int = 0, **differences: object) -> Client:
    client = make_client(**differences)
    moment = datetime.now(UTC) - relativedelta(years=years_ago, days=days)
    Client.objects.filter(pk=client.pk).update(registered_at=moment)
    return client


@pytest.mark.django_db
def test_the_list_agrees_with_the_rule(cast: Cast) -> None:
    adult, child = date(1961, 3, 4), today() - relativedelta(years=20)
    past, recent = registered(10, 2, born_on=adult), registered(9, 300, born_on=adult)
    minor, seen_since = registered(10, 2, born_on=child), registered(12, born_on=adult)
    gone = registered(12, born_on=adult)
    Client.objects.filter(pk=gone.pk).update(
        erased_at=datetime.now(UTC), deactivated_at=datetime.now(UTC), deactivated_reason="Erased."
    )
    make_session(
        make_episode(seen_since, cast.therapist, opened_on=today() - relativedelta(years=5)),
        make_protocol(),
        taken_on=today() - relativedelta(years=5),
    )
    listed = {line.client for line in past_retention("1", today=today())}
    assert listed == {past}
    for client in (past, recent, minor, seen_since):
        assert (kept_until(client) <= today()) == (client in listed)


@pytest.mark.django_db
def test_a_visit_noted_is_a_visit(cast: Cast) -> None:
    client, on = registered(12), today() - relativedelta(years=3)
    draft(cast.therapist, make_episode(client, cast.therapist, opened_on=on), visited_on=on)
    assert kept_until(client) == on + relativedelta(years=10)
    assert not past_retention("1", today=today()).object_list


@pytest.mark.django_db
@pytest.mark.parametrize("status", Status)
def test_an_appointment_counts_where_the_client_came(cast: Cast, status: Status) -> None:
    client, on = registered(12), today() - relativedelta(years=3)
    row(cast.therapist, client, on, "09:00", status=status, cancel_reason="other").save()
    has_come = status in {Status.ARRIVED, Status.IN_SESSION, Status.DONE}
    assert (kept_until(client) == on + relativedelta(years=10)) == has_come
    assert (not past_retention("1", today=today()).object_list) == has_come


@pytest.mark.django_db
def test_who_is_booked_to_come_is_not_listed(cast: Cast) -> None:
    client = registered(12)
    coming = booked(cast.therapist, today() + timedelta(days=2), client=client)
    assert not past_retention("1", today=today()).object_list
    Appointment.objects.filter(pk=coming.pk).update(
        status=Status.CANCELLED_EARLY, cancel_reason="other"
    )
    assert [line.client for line in past_retention("1", today=today())] == [client]


@pytest.mark.django_db
def test_the_lead_sets_the_periods_and_the_list_follows(lead: Browser, cast: Cast) -> None:
    client = registered(6, 2)
    assert client.record_number not in lead.get(reverse("retention")).content.decode()
    typed = {"years_after_last_visit": 6, "majority_age": 18, "years_after_majority": 3}
    assert lead.post(reverse("retention-rules"), typed).url == reverse("retention")
    page = lead.get(reverse("retention")).content.decode()
    assert client.record_number in page
    assert reverse("client-erase", args=[client.pk]) in page
    assert "<b>1</b> record is past" in lead.get(reverse("keeping")).content.decode()


@pytest.mark.django_db
def test_a_period_that_cannot_be_stays_in_the_form(lead: Browser) -> None:
    typed = {"years_after_last_visit": "0", "majority_age": "18", "years_after_majority": "x"}
    page = lead.post(reverse("retention-rules"), typed)
    assert page.context["form"]["years_after_majority"].value() == "x"
    assert set(page.context["form"].errors) == {"years_after_last_visit", "years_after_majority"}
    assert not RetentionRule.objects.exists()

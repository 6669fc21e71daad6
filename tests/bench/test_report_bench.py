"""The practice report at 20,000 clients, each with tapings, visits and changes of phase."""

from time import perf_counter

import pytest
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse

from clinic.clients.models import Episode
from clinic.common.vocabulary import Role
from measurements.models import GirthSession
from tests.bench.crowd import fill
from tests.bench.test_pages_bench import FLOOR_S, TIMES_SQL, run
from tests.bench.test_recalls_bench import APPOINTMENTS
from tests.cast import Cast, make_staff
from tests.clinic.scheduling.desk_stories import kind

pytestmark = [pytest.mark.bench, pytest.mark.django_db]

CLIENTS, SESSIONS_EACH, THERAPISTS = 20_000, 3, 40
# A quarter in the middle of the crowd's days; the page sets it beside the one before.
FROM_ON, TO_ON = "2025-04-01", "2025-06-30"
MOST_ROUNDS = 5

# Half of the episodes are watched, half are treated for two months.
PHASES = """
INSERT INTO clients_phasechange (episode_id, phase, since_on, reason, by_id, recorded_at)
SELECT episode.id, change.phase, opened_on + change.days, 'Evaluation', therapist_id, now()
FROM (SELECT *, row_number() OVER () % 2 = 0 AS is_watched FROM clients_episode) AS episode
JOIN (
  VALUES (true, 'surveillance', 0), (false, 'intensive', 0), (false, 'maintenance', 60)
) AS change (is_watched, phase, days) USING (is_watched)
ORDER BY change.days
"""
ADHERENCE = """
INSERT INTO programmes_adherencerecord (episode_id, recorded_on, days_done, hard_steps, note,
  recorded_by_id)
SELECT id, opened_on + 30, 5, '[]', '', therapist_id FROM clients_episode
"""
# The visits end with the quarter, not today.
VISITS = APPOINTMENTS.replace("now() - interval", f"timestamptz '{TO_ON} 18:00+00' - interval")


def furnish() -> None:
    with connection.cursor() as cursor:
        cursor.execute(PHASES)
        cursor.execute(ADHERENCE)
        cursor.execute(VISITS, {"kind": kind().pk})
        cursor.execute("ANALYZE")


def test_the_report_of_twenty_thousand_clients_stays_near_its_sql(
    cast: Cast, capsys: pytest.CaptureFixture[str]
) -> None:
    began = perf_counter()
    therapists = [make_staff(f"t{n}", f"Therapist {n}", Role.THERAPIST) for n in range(THERAPISTS)]
    fill(clients=CLIENTS, sessions_each=SESSIONS_EACH, therapists=therapists)
    furnish()
    filled_s = perf_counter() - began
    assert Episode.objects.count() >= CLIENTS
    assert GirthSession.objects.count() >= CLIENTS * SESSIONS_EACH
    browser = Browser()
    browser.force_login(cast.lead)
    rounds = []
    for _ in range(MOST_ROUNDS):
        fields = {"from_on": FROM_ON, "to_on": TO_ON}
        rounds.append(run(browser, "get", reverse("practice-report"), fields))
        if rounds[-1].total_s <= max(TIMES_SQL * rounds[-1].sql_s, FLOOR_S):
            break
    best = min(rounds, key=lambda each: each.total_s)
    with capsys.disabled():
        print(
            f"\n{CLIENTS} clients filled in {filled_s:.0f} s; report {best.queries} queries,"
            f" {best.total_s:.2f} s, SQL {best.sql_s:.2f} s"
        )
    assert best.total_s <= max(TIMES_SQL * best.sql_s, FLOOR_S)

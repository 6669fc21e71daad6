"""The recall list over a large practice: one pass, few queries, and little beyond its own SQL."""

import time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.scheduling.selectors.recalls import Filter, recall_list
from tests.bench import crowd
from tests.builders import make_protocol, make_referrer
from tests.cast import Cast
from tests.clinic.scheduling.desk_stories import kind, today

CLIENTS = 20_000
MOST_QUERIES = 9

PHASES = """
INSERT INTO clients_phasechange (episode_id, phase, since_on, reason, by_id, recorded_at)
SELECT id, (ARRAY['surveillance', 'intensive', 'maintenance'])[1 + (row_number() OVER () %% 3)],
  opened_on, 'Evaluation', therapist_id, now() FROM clients_episode
"""
# Three past visits a client, one in eleven missed; each at a time of its own for its therapist.
APPOINTMENTS = """
INSERT INTO scheduling_appointment (id, client_id, therapist_id, kind_id, period, status, status_at,
  cancel_reason, cancel_note, desk_note, version, booked_by_id, booked_at)
SELECT gen_random_uuid(), client_id, therapist_id, %(kind)s,
  tstzrange(starts_at, starts_at + interval '30 minutes', '[)'),
  CASE WHEN number %% 11 = 0 THEN 'no_show' ELSE 'done' END, now(), '', '', '', 1, therapist_id,
  now()
FROM (
  SELECT client_id, therapist_id, row_number() OVER () AS number,
    now() - interval '1 hour' * row_number() OVER (PARTITION BY therapist_id) AS starts_at
  FROM clients_episode, generate_series(1, 3)
) AS visits
"""
AUTHORISATIONS = """
INSERT INTO scheduling_authorisation (client_id, payer, number, from_on, to_on, visits, note,
  recorded_by_id, recorded_at)
SELECT client_id, 'Harbour Mutual', 'HM', current_date - 90, current_date + 30, 12, '',
  therapist_id, now()
FROM clients_episode
"""


def fill(cast: Cast) -> None:
    values = {
        "clients": CLIENTS,
        "referrer": make_referrer().pk,
        "therapists": [cast.therapist.pk, cast.other_therapist.pk, cast.lead.pk],
        "protocol": make_protocol().pk,
        "each": 1,
        "kind": kind().pk,
    }
    with connection.cursor() as cursor:
        for statement in (crowd.CLIENTS, crowd.EPISODES, PHASES, crowd.SESSIONS):
            cursor.execute(statement, values)
        cursor.execute(APPOINTMENTS, values)
        cursor.execute(AUTHORISATIONS, values)
        cursor.execute("ANALYZE")


@pytest.mark.bench
@pytest.mark.django_db
def test_twenty_thousand_clients_are_gone_through_in_one_pass(cast: Cast) -> None:
    fill(cast)
    took_s, sql_s = [], []
    for _ in range(3):
        with CaptureQueriesContext(
            connection,
        ) as ran:
            begun = time.perf_counter()
            found = recall_list(cast.front_desk, Filter(), today=today())
            took_s.append(time.perf_counter() - begun)
        sql_s.append(sum(float(query["time"]) for query in ran.captured_queries))
    print(f"{found.total} lines, {min(took_s):.2f} s, of which SQL {min(sql_s):.2f} s")
    assert found.total > CLIENTS / 2
    assert len(ran) <= MOST_QUERIES
    assert min(took_s) < 6 * min(sql_s)

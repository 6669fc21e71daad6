"""Plans of a large practice: who is due is found in one pass, and little beyond its own SQL."""

import time
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.visits.lists import Service
from clinic.visits.selectors.plan_facts import plans_due
from tests.bench import crowd
from tests.builders import make_protocol, make_referrer, today
from tests.cast import Cast

EPISODES, NOTES_EACH = 5_000, 20
MOST_QUERIES = 4

PLANS = """
INSERT INTO visits_planofcare (id, episode_id, number, from_on, to_on, visits_a_week, weeks,
  treatment, outlook, written_by_id, written_at, signed_at, signed_by_id, signature, signed, seal,
  certified_by)
SELECT gen_random_uuid(), id, 1, current_date - 30 - (row_number() OVER () %% 60)::int,
  current_date + 30, 5, 4, 'Treatment', '', therapist_id, now(), now(), therapist_id, 'T', '{}',
  repeat('0', 64), ''
FROM clients_episode
"""
# Treatments come first: none may be added to a note that is signed.
NOTES = """
CREATE TEMPORARY TABLE made ON COMMIT DROP AS
SELECT gen_random_uuid() AS id, episode.id AS episode_id, therapist_id,
  current_date - 2 * n AS visited_on
FROM clients_episode AS episode, generate_series(1, %(each)s) AS n;
INSERT INTO visits_treatmententry (note_id, place, service_id, minutes, remark)
SELECT id, 0, %(service)s, 45, '' FROM made;
INSERT INTO visits_visitnote (id, episode_id, kind, visited_on, therapist_id, subjective,
  observations, response, plan, copied, signs, revision, begun_by_id, begun_at, edited_by_id,
  edited_at, signed_at, signed_by_id, signature, is_late_entry, needs_cosignature, signed, seal,
  cosignature, cosignature_seal)
SELECT id, episode_id, 'treatment', visited_on, therapist_id, '', '', '', '', '[]', '[]', 0,
  therapist_id, now(), therapist_id, now(), now(), therapist_id, 'T', false, false, '{}',
  repeat('0', 64), '', ''
FROM made
"""


def fill(cast: Cast) -> None:
    service = Service.objects.create(code="T1", name="Drainage", active_from=date(2020, 1, 1))
    values = {
        "clients": EPISODES,
        "referrer": make_referrer().pk,
        "therapists": [cast.therapist.pk, cast.other_therapist.pk],
        "protocol": make_protocol().pk,
        "each": NOTES_EACH,
        "service": service.pk,
    }
    with connection.cursor() as cursor:
        for statement in (crowd.CLIENTS, crowd.EPISODES, crowd.PHASES, PLANS):
            cursor.execute(statement, values)
        for statement in NOTES.split(";"):
            cursor.execute(statement, values)
        cursor.execute("ANALYZE")


@pytest.mark.bench
@pytest.mark.django_db
def test_a_hundred_thousand_notes_are_gone_through_in_one_pass(cast: Cast) -> None:
    fill(cast)
    took_s, sql_s = [], []
    for _ in range(3):
        with CaptureQueriesContext(connection) as ran:
            begun = time.perf_counter()
            found = plans_due(today())
            took_s.append(time.perf_counter() - begun)
        sql_s.append(sum(float(query["time"]) for query in ran.captured_queries))
    print(f"{len(found)} clients, {min(took_s):.2f} s, of which SQL {min(sql_s):.2f} s")
    assert len(found) > EPISODES / 2
    assert len(ran) <= MOST_QUERIES
    assert min(took_s) < 4 * min(sql_s)

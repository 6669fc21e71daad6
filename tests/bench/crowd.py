"""A large practice made by the database itself: invented, regular, and quick to fill."""

from uuid import UUID

from django.db import connection

from clinic.accounts.models import User
from clinic.clients.models import Episode
from measurements.models import Protocol
from measurements.services.standings import keep_standings
from tests.builders import make_protocol, make_referrer

CLIENTS = """
INSERT INTO clients_client (id, record_number, given_name, family_name, born_on, sex, phone, email,
  street, town, agrees_to_letters, registered_at, deactivated_reason, referrer_id)
SELECT gen_random_uuid(), 'C' || n, 'Given' || n %% 977, 'Family' || n %% 1993,
  date '1930-01-01' + (n * 37) %% 25000, 'female', '', '', '', '', true, now(), '', %(referrer)s
FROM generate_series(1, %(clients)s) AS n
"""
EPISODES = """
INSERT INTO clients_episode (id, opened_on, cause, diagnosis, dominant_hand, referral_reason,
  client_id, therapist_id, referrer_id)
SELECT gen_random_uuid(), date '2024-01-01' + (row_number() OVER () %% 700)::int,
  'cancer_treatment', 'I97.2', 'right', '', id,
  (%(therapists)s::bigint[])[1 + (row_number() OVER () %% cardinality(%(therapists)s::bigint[]))],
  referrer_id
FROM clients_client WHERE record_number LIKE 'C%%'
"""
REGIONS = """
INSERT INTO clients_affectedregion (episode_id, region, side, involvement)
SELECT id, 'arm', 'right', 'swollen' FROM clients_episode AS episode
WHERE NOT EXISTS (SELECT FROM clients_affectedregion WHERE episode_id = episode.id)
"""
PHASES = """
INSERT INTO clients_phasechange (episode_id, phase, since_on, reason, by_id, recorded_at)
SELECT id, 'maintenance', opened_on, 'Evaluation', therapist_id, now()
FROM clients_episode AS episode
WHERE NOT EXISTS (SELECT FROM clients_phasechange WHERE episode_id = episode.id)
"""
SESSIONS = """
INSERT INTO measurements_girthsession (id, episode_id, protocol_id, limb, taken_on, round, posture,
  weight_kg, note, is_baseline, taken_by_id, recorded_at, struck_reason)
SELECT gen_random_uuid(), episode.id, %(protocol)s, 'arm', episode.opened_on + 30 * n, 1, 'sitting',
  70, '', n = 0, episode.therapist_id, now(), ''
FROM clients_episode AS episode, generate_series(0, %(each)s - 1) AS n
WHERE NOT EXISTS (SELECT FROM measurements_girthsession WHERE episode_id = episode.id)
"""
READINGS = """
INSERT INTO measurements_girthreading (session_id, side, level_cm, trial, girth_cm, was_confirmed)
SELECT session.id, side, 4 * n, 1,
  16 + 1.4 * n + CASE side WHEN 'right' THEN 1.5 ELSE 0 END, false
FROM measurements_girthsession AS session, generate_series(0, 10) AS n,
  unnest(ARRAY['left', 'right']) AS side
WHERE NOT EXISTS (SELECT FROM measurements_girthreading WHERE session_id = session.id)
"""
OF_ONE = """session.episode_id = (
  SELECT id FROM clients_episode WHERE id NOT IN (SELECT episode_id FROM measurements_keptstanding)
  ORDER BY id LIMIT 1)
"""
# Every limb of the crowd was taped alike: what one stands at, all do, each on its own days.
STANDINGS = """
INSERT INTO measurements_keptstanding (episode_id, limb, session_id, taken_on, affected,
  is_bilateral, side, is_excess, value_ml, error_ml, percent, verdict, before_on, before_ml,
  before_error_ml, before_verdict, baseline_on, baseline_ml, baseline_error_ml, baseline_verdict,
  relative_percent, relative_error, is_sudden_rise, both_rose, points)
SELECT taped.episode_id, one.limb, keys[1], days[1], one.affected, one.is_bilateral, one.side,
  one.is_excess, one.value_ml, one.error_ml, one.percent, one.verdict, days[2], one.before_ml,
  one.before_error_ml, one.before_verdict, days[cardinality(days)], one.baseline_ml,
  one.baseline_error_ml, one.baseline_verdict, one.relative_percent, one.relative_error,
  one.is_sudden_rise, one.both_rose,
  (SELECT jsonb_agg(jsonb_build_array(day, one.value_ml) ORDER BY day) FROM unnest(days) AS day)
FROM (SELECT * FROM measurements_keptstanding WHERE episode_id = %(pattern)s) AS one, (
  SELECT episode_id, array_agg(id ORDER BY taken_on DESC) AS keys,
    array_agg(taken_on ORDER BY taken_on DESC) AS days
  FROM measurements_girthsession WHERE struck_at IS NULL GROUP BY episode_id
) AS taped
WHERE NOT EXISTS (SELECT FROM measurements_keptstanding WHERE episode_id = taped.episode_id)
"""


def fill(
    *, clients: int, sessions_each: int, therapists: list[User], has_all_readings: bool = True
) -> Protocol:
    """Add clients with one episode each and `sessions_each` sessions of 2 limbs x 11 stations.

    Without all readings only one episode has girths, for what reads none of them.
    """
    protocol, referrer = make_protocol(), make_referrer()
    with connection.cursor() as cursor:
        cursor.execute(CLIENTS, {"clients": clients, "referrer": referrer.pk})
        cursor.execute(EPISODES, {"therapists": [person.pk for person in therapists]})
        cursor.execute(REGIONS)
        cursor.execute(PHASES)
        cursor.execute(SESSIONS, {"protocol": protocol.pk, "each": sessions_each})
        cursor.execute(READINGS if has_all_readings else f"{READINGS} AND {OF_ONE}")
        cursor.execute(STANDINGS, {"pattern": _standing_kept()})
        cursor.execute("ANALYZE")
    return protocol


def _standing_kept() -> UUID:
    """An episode of the crowd with its standing kept."""
    crowd = Episode.objects.filter(client__record_number__startswith="C")
    pattern = crowd.exclude(standings__isnull=False).order_by("pk").first()
    assert pattern
    keep_standings([pattern.pk])
    return pattern.pk

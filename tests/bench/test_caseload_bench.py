"""The caseload at 20,000 clients, each with an open episode, bookings, notes and findings.

The page reads no girth, so only one episode has some: the standings stand for them."""

import pytest
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse

from clinic.clients.models import Episode
from clinic.common.vocabulary import Role
from measurements.kept_standing import KeptStanding
from tests.bench.crowd import fill
from tests.bench.many_notes import fill_notes
from tests.bench.test_pages_bench import best_round, queries_of
from tests.bench.test_recalls_bench import APPOINTMENTS
from tests.builders import make_client, make_episode
from tests.cast import Cast, make_staff
from tests.clinic.scheduling.desk_stories import kind
from tests.clinic.visits.charting import signed

pytestmark = [pytest.mark.bench, pytest.mark.django_db]

CLIENTS, SESSIONS_EACH, THERAPISTS = 20_000, 5, 40

PRECAUTIONS = """
INSERT INTO clients_precautionfound (client_id, precaution, found_on, found_by_id, note,
  cleared_reason)
SELECT client_id, 'carotid_sinus', opened_on, therapist_id, '', '' FROM clients_episode
WHERE ('x' || substr(id::text, 1, 2))::bit(8)::int < 26
"""
FINDINGS = """
INSERT INTO measurements_limbfindings (id, region_id, found_on, found_by_id, swelling_visible,
  pitting, elevation, stemmer, fibrosis, skin_changes, symptoms, note, suggested_stage,
  suggested_because, stage, override_reason, recorded_at)
SELECT gen_random_uuid(), region.id, episode.opened_on, episode.therapist_id, true, 'none', 'none',
  'negative', 'none', '{}', '{}', '', 'I', '{}', 'I', '', now()
FROM clients_affectedregion AS region JOIN clients_episode AS episode
  ON episode.id = region.episode_id
"""
ASKED = {
    "own": {},
    "everyone's": {"whose": "all"},
    "everyone's, by excess": {"whose": "all", "order": "excess"},
    "everyone's worse": {"whose": "all", "judged": "worse", "due": "late"},
    "a page far down": {"whose": "all", "page": "700"},
}


def furnish(cast: Cast) -> None:
    """Three visits done, a signed note and a stage each; every tenth has a precaution."""
    note = signed(cast.therapist, make_episode(make_client(), cast.therapist))
    fill_notes(note, list(Episode.objects.values_list("pk", flat=True)), notes=CLIENTS)
    with connection.cursor() as cursor:
        cursor.execute(APPOINTMENTS, {"kind": kind().pk})
        cursor.execute(PRECAUTIONS)
        cursor.execute(FINDINGS)
        cursor.execute("ANALYZE")


def test_the_caseload_of_twenty_thousand_stays_within_four_times_its_sql(
    cast: Cast, capsys: pytest.CaptureFixture[str]
) -> None:
    others = [make_staff(f"t{n}", f"Therapist {n}", Role.THERAPIST) for n in range(THERAPISTS - 1)]
    everyone = [*others, cast.therapist]
    fill(clients=CLIENTS, sessions_each=SESSIONS_EACH, therapists=everyone, has_all_readings=False)
    furnish(cast)
    assert KeptStanding.objects.count() == CLIENTS
    browser = Browser()
    browser.force_login(cast.therapist)
    told = []
    for name, fields in ASKED.items():
        asked = ("get", reverse("caseload"), fields)
        queries = queries_of(browser, asked)
        told.append((name, queries, *best_round(browser, asked)))
    with capsys.disabled():
        for name, queries, total_s, sql_s, limit_s in told:
            print(
                f"\n{name:22} {queries:3} queries  {total_s * 1000:7.1f} ms  "
                f"SQL {sql_s * 1000:7.1f} ms  allowed {limit_s * 1000:7.1f} ms",
                end="",
            )
    assert len({queries for _, queries, *_ in told}) == 1
    assert not [name for name, _, total_s, _, limit_s in told if total_s > limit_s]

"""One client's whole record as a Bundle of type collection."""

from collections.abc import Iterator
from itertools import chain

from clinic.exchange.fhir import (
    cancer,
    care,
    measured,
    papers,
    people,
    pieces,
    plans,
    scored,
    visits,
)
from clinic.exchange.fhir.pieces import Json, Maker
from clinic.exchange.rows import ClientRows


def bundle_json(rows: ClientRows) -> str:
    """FHIR R4 (4.0.1) on one line. Every reference resolves inside; asks the database nothing.

    Put together from the JSON of each resource, so that nothing is encoded twice.
    """
    head = {
        "resourceType": "Bundle",
        "id": pieces.id_of(rows.client.pk, "bundle"),
        "type": "collection",
        "timestamp": pieces.instant(rows.made_at),
    }
    entries = ",".join(map(_entry, resources(rows)))
    return f'{pieces.as_json(head)[:-1]},"entry":[{entries}]}}'


def _entry(resource: Json) -> str:
    told = pieces.readable_json(resource)
    return f'{{"fullUrl":"urn:uuid:{resource["id"]}","resource":{told}}}'


def resources(rows: ClientRows) -> Iterator[Json]:
    """People first, then care, history, measures, plans, visits and papers."""
    maker = Maker(rows.client.pk)
    yield people.patient(maker, rows)
    yield people.practice_organization(maker, rows.practice)
    yield from people.staff(maker, rows.staff.values())
    yield from people.referrers(maker, rows.referrers)
    yield from care.episodes_of_care(maker, rows.episodes, care.latest_looks(rows.findings))
    yield from care.flags(maker, rows.precautions)
    parts = (
        cancer.procedures,
        scored.findings,
        measured.observations,
        scored.scores,
        plans.plans_of_care,
        plans.home_programmes,
        scored.adherence,
        visits.visits,
        papers.garments,
        papers.letters,
    )
    yield from chain.from_iterable(part(maker, rows) for part in parts)

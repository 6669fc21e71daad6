"""What the database itself refuses, whatever the code above it believes."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from clinic.clients.models import (
    AffectedRegion,
    Client,
    DrugTreatment,
    Episode,
    NodeSurgery,
    PhaseChange,
    PrecautionFound,
    Referrer,
)
from tests.builders import make_client, make_episode, make_referrer
from tests.cast import Cast


def _clear(client: Client, cast: Cast, **differences: Any) -> None:
    values = {
        "client": client,
        "precaution": "pregnancy",
        "found_on": date(2026, 2, 2),
        "found_by": cast.therapist,
        "cleared_on": date(2026, 2, 3),
        "cleared_by": cast.therapist,
        "cleared_reason": "Over",
    }
    PrecautionFound.objects.create(**values | differences)


def _region(client: Client, cast: Cast, **differences: str) -> None:
    episode = make_episode(client, cast.therapist)
    values = {"region": "leg", "side": "left", "involvement": "swollen"}
    AffectedRegion.objects.create(episode=episode, **values | differences)


def _phase(client: Client, cast: Cast, **differences: str) -> None:
    episode = make_episode(client, cast.therapist)
    values = {"phase": "maintenance", "since_on": "2026-02-02", "reason": "Plateau"}
    PhaseChange.objects.create(episode=episode, by=cast.therapist, **values | differences)


REFUSED: dict[str, tuple[str, Callable[[Client, Cast], Any]]] = {
    "a record number twice": (
        "record_number",
        lambda client, cast: make_client(record_number=client.record_number),
    ),
    "a birth before 1890": (
        "born_in_living_memory",
        lambda client, cast: make_client(born_on=date(1889, 12, 31)),
    ),
    "an unknown sex": ("client_sex_is_known", lambda client, cast: make_client(sex="x")),
    "a deactivation without reason": (
        "deactivation_has_reason",
        lambda client, cast: make_client(deactivated_at="2026-01-01T12:00Z"),
    ),
    "an unknown way of delivery": (
        "delivery_is_known",
        lambda client, cast: make_referrer(delivery="owl"),
    ),
    "an unknown letter frequency": (
        "letter_frequency_is_known",
        lambda client, cast: make_referrer(letter_frequency="often"),
    ),
    "an unknown cause": (
        "cause_is_known",
        lambda client, cast: make_episode(client, cast.therapist, cause="bad luck"),
    ),
    "a hand that is no side": (
        "hand_is_a_side",
        lambda client, cast: make_episode(client, cast.therapist, dominant_hand="both"),
    ),
    "an unknown region": ("region_words", lambda client, cast: _region(client, cast, region="toe")),
    "a leg in the midline": (
        "paired_region_has_side",
        lambda client, cast: _region(client, cast, side="midline"),
    ),
    "a region twice": (
        "region_once_per_episode",
        lambda client, cast: _region(client, cast, region="arm", side="right"),
    ),
    "an unknown phase": ("phase_is_known", lambda client, cast: _phase(client, cast, phase="x")),
    "a phase without reason": (
        "phase_change_has_reason",
        lambda client, cast: _phase(client, cast, reason=""),
    ),
    "more positive nodes than removed": (
        "positive_nodes_were_removed",
        lambda client, cast: NodeSurgery.objects.create(
            client=client,
            procedure="full",
            basin="axilla",
            side="left",
            nodes_removed=2,
            nodes_positive=3,
        ),
    ),
    "drugs that end before they start": (
        "drugs_end_after_start",
        lambda client, cast: DrugTreatment.objects.create(
            client=client, drugs="hormone", done_on="2024-02-02", ended_on="2024-02-01"
        ),
    ),
    "a clearing without reason": (
        "clearing_has_reason",
        lambda client, cast: _clear(client, cast, cleared_reason=""),
    ),
    "a clearing before the finding": (
        "clearing_has_reason",
        lambda client, cast: _clear(client, cast, cleared_on=date(2026, 2, 1)),
    ),
    "a clearing by nobody": (
        "clearing_has_reason",
        lambda client, cast: _clear(client, cast, cleared_by=None),
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_the_database_refuses(cast: Cast, case: str) -> None:
    constraint, attempt = REFUSED[case]
    client = make_client()
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        attempt(client, cast)


def test_a_precaution_stands_once_but_may_return(cast: Cast) -> None:
    client = make_client()
    _clear(client, cast)
    still_open = {"cleared_on": None, "cleared_by": None, "cleared_reason": ""}
    _clear(client, cast, **still_open)
    with pytest.raises(IntegrityError, match="precaution_open_once"), transaction.atomic():
        _clear(client, cast, **still_open)


def test_a_client_with_a_record_cannot_be_deleted(cast: Cast) -> None:
    client = make_client(referrer=make_referrer())
    make_episode(client, cast.therapist)
    for kind in (Client, Episode, Referrer):
        with pytest.raises((IntegrityError, Exception), match=r"referenced|violates|protected"):
            kind.objects.all().delete()
    assert Client.objects.exists()

"""Protocols: what a used one refuses, and how the next version takes its place."""

from datetime import date
from typing import Any

import pytest
from django.db import ProgrammingError, transaction
from django.test import Client as Browser
from django.urls import reverse

from measurements.errors import ProtocolUsed
from measurements.limb.levels import PRESETS, levels_cm, station_labels
from measurements.models import Protocol, ProtocolStation
from measurements.protocol_plan import ProtocolPlan
from measurements.services.presets import PRESETS as FROZEN
from measurements.services.presets import add_presets
from measurements.services.protocols import change_protocol
from tests.builders import make_client, make_episode, make_protocol, make_session
from tests.cast import Cast

TYPED = {
    "name": "Arm, every 5 cm",
    "limb": "arm",
    "start_landmark": "wrist crease",
    "end_handling": "excluded",
    "way": "spaced",
    "offset": "0",
    "spacing": "5",
    "station_count": "9",
    "landmarks": "",
}


@pytest.fixture
def used(cast: Cast) -> Protocol:
    protocol = make_protocol(name="Arm, used")
    episode = make_episode(make_client(), cast.therapist)
    make_session(episode, protocol, taken_on=date(2026, 2, 2))
    return protocol


def levels_of(protocol: Protocol) -> list[float]:
    return [float(station.level_cm) for station in protocol.stations.all()]


def new(lead: Browser, **differences: str) -> Any:
    return lead.post(reverse("protocol-new"), TYPED | differences)


def test_the_list_shows_used_and_retired(therapist: Browser, used: Protocol) -> None:
    make_protocol(name="Old arm", retired_at="2026-01-01T00:00Z")
    page = therapist.get(reverse("protocols")).content.decode()
    assert page.index("Arm, used") < page.index("Retired") < page.index("Old arm")


def test_an_evenly_spaced_protocol_has_its_stations(lead: Browser) -> None:
    new(lead, offset="2,5")
    protocol = Protocol.objects.get(name="Arm, every 5 cm")
    assert levels_of(protocol) == [2.5 + 5 * n for n in range(9)]
    assert protocol.stations.first().label == "2.5 cm above wrist crease"


def test_named_landmarks_become_stations(lead: Browser) -> None:
    new(lead, way="named", landmarks="0 wrist crease\n\n12,5 mid-forearm\n24 elbow crease")
    protocol = Protocol.objects.get(name="Arm, every 5 cm")
    assert levels_of(protocol) == [0, 12.5, 24]
    assert [each.label for each in protocol.stations.all()][1] == "mid-forearm"


@pytest.mark.parametrize(
    ("differences", "says"),
    [
        ({"spacing": "four"}, "is not a number"),
        ({"spacing": "0"}, "cannot be a length"),
        ({"spacing": "4.25"}, "finer than 1 mm"),
        ({"offset": "-4"}, "cannot lie below the start landmark"),
        ({"station_count": "1"}, "greater than or equal to 2"),
        ({"station_count": "40"}, "at most 120 cm"),
        ({"way": "named", "landmarks": "0 wrist"}, "at least two"),
        ({"way": "named", "landmarks": "0 wrist\n0 crease"}, "same height"),
        ({"way": "named", "landmarks": "wrist"}, "centimetres and then a name"),
        ({"way": "named", "landmarks": "elbow 4"}, "is not a number"),
    ],
)
def test_what_makes_no_protocol_is_said_and_stays_typed(
    lead: Browser, differences: dict[str, str], says: str
) -> None:
    page = new(lead, **differences).content.decode()
    assert says in page
    assert 'value="wrist crease"' in page
    assert not Protocol.objects.filter(name="Arm, every 5 cm").exists()


def test_two_protocols_in_use_cannot_share_a_name(lead: Browser) -> None:
    new(lead)
    assert "is called" in new(lead).content.decode()


def test_an_unused_protocol_can_be_changed(lead: Browser) -> None:
    protocol = make_protocol()
    lead.post(reverse("protocol-edit", args=[protocol.pk]), TYPED)
    protocol.refresh_from_db()
    assert protocol.name == "Arm, every 5 cm"
    assert levels_of(protocol) == [5 * n for n in range(9)]


def test_editing_a_used_protocol_makes_its_next_version(lead: Browser, used: Protocol) -> None:
    address = reverse("protocol-edit", args=[used.pk])
    assert "becomes its next version" in lead.get(address).content.decode()
    lead.post(address, TYPED | {"name": "Arm, used"})
    used.refresh_from_db()
    assert used.retired_at is not None
    assert len(levels_of(used)) == 11
    assert levels_of(used.superseded_by) == [5 * n for n in range(9)]
    assert used.superseded_by.name == "Arm, used"


def test_the_service_refuses_to_change_a_used_protocol(used: Protocol, cast: Cast) -> None:
    plan = ProtocolPlan("Other", "arm", "wrist", "excluded", ((0, "a"), (4, "b")))
    with pytest.raises(ProtocolUsed):
        change_protocol(protocol=used, plan=plan, by=cast.lead)


@pytest.mark.parametrize("change", ["rename", "move", "add", "remove"])
def test_the_database_itself_refuses_to_change_a_used_protocol(used: Protocol, change: str) -> None:
    station = used.stations.first()
    changes = {
        "rename": lambda: Protocol.objects.filter(pk=used.pk).update(name="Other"),
        "move": lambda: ProtocolStation.objects.filter(pk=station.pk).update(level_cm=1),
        "add": lambda: ProtocolStation.objects.create(protocol=used, level_cm=50, label="x"),
        "remove": station.delete,
    }
    with pytest.raises(ProgrammingError, match="cannot be changed"), transaction.atomic():
        changes[change]()


def test_a_superseded_protocol_cannot_be_edited_again(lead: Browser, used: Protocol) -> None:
    address = reverse("protocol-edit", args=[used.pk])
    lead.post(address, TYPED | {"name": "Next"})
    page = lead.post(address, TYPED | {"name": "Next but one"}, follow=True).content.decode()
    assert "no longer in use" in page
    assert not Protocol.objects.filter(name="Next but one").exists()


def test_retiring_takes_a_protocol_out_of_use(lead: Browser) -> None:
    protocol = make_protocol()
    lead.post(reverse("protocol-retire", args=[protocol.pk]))
    protocol.refresh_from_db()
    assert protocol.retired_at is not None


def test_only_the_lead_edits_and_the_front_desk_sees_none(
    therapist: Browser, desk: Browser, used: Protocol
) -> None:
    page = therapist.get(reverse("protocol", args=[used.pk])).content.decode()
    assert "Supersede" not in page
    assert therapist.get(reverse("protocol-new")).status_code == 403
    assert desk.get(reverse("protocols")).status_code == 403


@pytest.mark.parametrize("name", ["protocols", "protocol"])
def test_reading_pages_take_no_post(therapist: Browser, used: Protocol, name: str) -> None:
    args = [used.pk] if name == "protocol" else []
    assert therapist.post(reverse(name, args=args)).status_code == 405


def test_the_frozen_presets_are_those_of_the_limb_package(db: None) -> None:
    for frozen, spec in zip(FROZEN, PRESETS.values(), strict=True):
        protocol = Protocol.objects.get(name=frozen[0])
        assert levels_of(protocol) == list(levels_cm(spec))
        labels = [station.label for station in protocol.stations.all()]
        assert labels == list(station_labels(spec).values())
        assert (protocol.limb, protocol.start_landmark) == (spec.limb, spec.start_landmark)


def test_presets_are_added_once(db: None) -> None:
    add_presets(Protocol, ProtocolStation)
    assert Protocol.objects.count() == 4

"""Data out: the pages, who may, what is recorded, and girths that come back the same."""

import codecs
import csv
import errno
import json
import tracemalloc
from collections.abc import Iterator
from datetime import date, time
from decimal import Decimal
from io import BytesIO, StringIO
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.models import Count
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic.audit.models import Entry
from clinic.audit.selectors import history_of
from clinic.clients.models import Client
from clinic.common.vocabulary import Role
from clinic.exchange import girths_out, record
from clinic.exchange.selectors import gathering
from clinic.exchange.services import taking
from clinic.exchange.words import Taken
from measurements.limb.volume import limb_volume
from measurements.models import GirthReading, GirthSession
from measurements.selectors.taped import joined, taped
from measurements.services.imports import import_sessions
from tests.builders import make_client, make_episode, make_protocol, make_session, today
from tests.cast import Cast, make_staff
from tests.clinic.exchange.stories import make_letter
from tests.clinic.exchange.validators import schema_faults


def taken(response: object) -> bytes:
    return b"".join(response.streaming_content)


def lines(raw: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(raw.decode("utf-8-sig"))))


def test_the_client_page_leads_to_a_record_that_is_logged(therapist: Browser, cast: Cast) -> None:
    client = make_client()
    address = reverse("client-take-out", args=[client.pk])
    assert address in therapist.get(reverse("client", args=[client.pk])).content.decode()
    page = therapist.get(address)
    assert (page.status_code, history_of(client).filter(verb="record.taken_out").count()) == (
        200,
        0,
    )
    response = therapist.post(address, {"what": "record"})
    found = json.loads(taken(response))
    assert found["entry"][0]["resource"]["birthDate"] == "1961-03-04"
    assert response["Content-Type"] == "application/fhir+json; charset=utf-8"
    assert response["Cache-Control"] == "no-store"
    assert client.family_name not in response["Content-Disposition"]
    assert client.record_number not in response["Content-Disposition"]
    (entry,) = history_of(client).filter(verb="record.taken_out")
    assert entry.by == cast.therapist


def test_the_front_desk_gets_no_record_and_the_therapist_not_everybodys(
    desk: Browser, therapist: Browser
) -> None:
    client = make_client()
    address = reverse("client-take-out", args=[client.pk])
    assert desk.get(address).status_code == 403
    assert desk.post(address, {"what": "girths"}).status_code == 403
    assert address not in desk.get(reverse("client", args=[client.pk])).content.decode()
    everybody = reverse("exchange-out", args=["record"])
    assert therapist.post(everybody).status_code == 403
    assert therapist.get(reverse("exchange")).status_code == 403
    assert not Entry.objects.filter(verb__endswith="taken_out").exists()


def test_what_the_page_sends_the_lead_to_is_there(lead: Browser, cast: Cast) -> None:
    page = lead.get(reverse("exchange")).text
    episode = make_episode(make_client(), cast.therapist)
    make_protocol()
    client = lead.get(reverse("client", args=[episode.client.pk])).text
    enter = lead.get(reverse("girths-enter", args=[episode.pk])).text
    for words, there in (
        ("Take the record out", client),
        ("Tape girths", client),
        ("Import past sessions", enter),
    ):
        assert f"“{words}”" in page
        assert f">{words}</a>" in there


def test_wrong_methods_and_unknown_kinds_are_refused(lead: Browser) -> None:
    client = make_client()
    assert lead.get(reverse("exchange-out", args=["record"])).status_code == 405
    assert lead.post(reverse("exchange")).status_code == 405
    assert lead.post(reverse("exchange-out", args=["letters"])).status_code == 404
    address = reverse("client-take-out", args=[client.pk])
    assert lead.put(address).status_code == 405
    assert lead.post(address, {"what": "all"}).status_code == 404
    assert not Entry.objects.filter(verb__endswith="taken_out").exists()


def test_the_lead_takes_everybodys_record_and_each_client_knows(lead: Browser) -> None:
    clients = [make_client(), make_client(family_name="Second")]
    assert lead.get(reverse("exchange")).status_code == 200
    response = lead.post(reverse("exchange-out", args=["record"]))
    found = [json.loads(line) for line in taken(response).splitlines()]
    assert {bundle["entry"][0]["resource"]["id"] for bundle in found} == {
        str(client.pk) for client in clients
    }
    assert all(schema_faults(bundle) == [] for bundle in found)
    assert Entry.objects.filter(verb="record.all_taken_out", client=None).count() == 1
    assert all(
        history_of(client).filter(verb="record.taken_out").count() == 1 for client in clients
    )


def test_of_a_record_that_is_gone_nothing_is_noted_as_taken_out(lead: Browser) -> None:
    kept, other, gone = (make_client() for _ in range(3))
    left = {"deactivated_at": timezone.now(), "deactivated_reason": "Gone."}
    Client.objects.filter(pk=other.pk).update(merged_into=kept, **left)
    Client.objects.filter(pk=gone.pk).update(erased_at=timezone.now(), **left)
    answer = lead.post(reverse("exchange-out", args=["record"]))
    assert len(taken(answer).splitlines()) == 1
    noted = Entry.objects.filter(verb="record.taken_out")
    assert list(noted.values_list("client", flat=True)) == [kept.pk]


@pytest.mark.django_db(transaction=True)
def test_everybodys_entries_are_committed_few_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that nobody waits long for the chain: entries of one transaction share an act."""
    monkeypatch.setattr(taking, "AT_A_TIME", 2)
    by, people = make_staff("leona", "Leona Vale", Role.CLINIC_LEAD), [*map(alike, range(5))]
    assert taking.note_all_taken(what=Taken.RECORD, by=by) == 5
    noted = Entry.objects.filter(verb="record.taken_out")
    assert set(noted.values_list("client", flat=True)) == {person.pk for person in people}
    acts = noted.order_by().values_list("act").annotate(count=Count("pk"))
    assert sorted(count for _, count in acts) == [1, 2, 2]


def alike(number: int) -> Client:
    return make_client(family_name=f"Alike {number}")


def test_every_chunk_costs_the_same_queries(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many clients there are, those of a chunk are read together."""
    for _ in range(6):
        make_session(
            make_episode(make_client(), cast.therapist), make_protocol(), taken_on=date(2026, 2, 2)
        )

    def queries(chunk: int) -> int:
        with CaptureQueriesContext(connection) as asked:
            assert len(list(gathering.all_rows(chunk=chunk))) == 6
        return len(asked)

    # k chunks cost k times the readers and k + 1 looks for the next keys.
    whole, halves, thirds = queries(6), queries(3), queries(2)
    assert thirds - halves == halves - whole == whole - 1


# Girths


@pytest.fixture
def taped_client(cast: Cast) -> Client:
    client = make_client()
    episode = make_episode(client, cast.therapist)
    protocol = make_protocol(name="=Arm, our own")
    make_session(episode, protocol, taken_on=date(2026, 2, 2), note="-2 cm, by sight")
    make_session(
        episode, protocol, taken_on=date(2026, 3, 2), taken_at=None, weight_kg=Decimal("71.4")
    )
    struck = make_session(episode, protocol, taken_on=date(2026, 3, 9), note="Gone")
    GirthSession.objects.filter(pk=struck.pk).update(
        struck_at=struck.recorded_at, struck_by=cast.therapist, struck_reason="Wrong arm"
    )
    return client


def volumes(client: Client) -> list[tuple[date, float | None, float | None]]:
    sessions = joined(GirthSession.objects.filter(episode__client=client, struck_at=None))
    found = sorted(taped(sessions).values(), key=lambda each: each.facts.taken_on)
    return [
        (
            each.facts.taken_on,
            *(limb_volume(limb).ml if limb else None for limb in (each.left, each.right)),
        )
        for each in found
    ]


def test_girths_come_out_as_taped_and_no_cell_can_run(
    therapist: Browser, taped_client: Client
) -> None:
    address = reverse("client-take-out", args=[taped_client.pk])
    raw = taken(therapist.post(address, {"what": "girths"}))
    found = lines(raw)
    assert len(found) == 2 * 2 * 11
    assert {row["note"] for row in found} == {"'-2 cm, by sight", ""}
    assert not [
        c
        for row in csv.reader(StringIO(raw.decode("utf-8-sig")))
        for c in row
        if c[:1] in "=+-@" and c
    ]
    first = found[0]
    assert (first["side"], float(first["level_cm"]), float(first["girth_cm"])) == ("right", 0, 18.2)
    assert history_of(taped_client).filter(verb="girths.taken_out").count() == 1


def test_accents_come_back_through_the_signature_that_spreadsheets_need(cast: Cast) -> None:
    said = "Œdème – zoë, Łódź"
    client, other = make_client(), make_client(family_name="Elsewhere")
    make_session(
        make_episode(client, cast.therapist),
        make_protocol(name="Médial"),
        taken_on=today(),
        note=said,
    )
    raw = "".join(record.girths_csv(client)).encode()
    assert raw.count(codecs.BOM_UTF8) == 1
    assert raw.startswith(codecs.BOM_UTF8 + b"taken_on,")
    import_sessions(episode=make_episode(other, cast.therapist), raw=raw, by=cast.therapist)
    assert GirthSession.objects.get(episode__client=other).note == said


def test_girths_of_one_client_round_trip(cast: Cast, taped_client: Client) -> None:
    """Out, into another record, and the volumes are the same to the last digit."""
    before = volumes(taped_client)
    raw = "".join(record.girths_csv(taped_client)).encode()
    other = make_client(family_name="Elsewhere")
    import_sessions(episode=make_episode(other, cast.therapist), raw=raw, by=cast.therapist)
    assert volumes(other) == before
    assert GirthSession.objects.filter(episode__client=other, note="-2 cm, by sight").count() == 1


@pytest.mark.parametrize("times", [(None, None), (time(9), time(9)), (None, time(9))])
def test_two_tapings_of_a_day_stay_two_whatever_their_times(
    cast: Cast, times: tuple[time | None, time | None]
) -> None:
    client, other = make_client(), make_client(family_name="Elsewhere")
    episode, protocol = make_episode(client, cast.therapist), make_protocol()
    for number, taken_at in enumerate(times, start=1):
        girths_cm = [20.0 + number] * 11
        make_session(
            episode,
            protocol,
            taken_on=today(),
            taken_at=taken_at,
            round=number,
            right_cm=girths_cm,
        )
    raw = "".join(record.girths_csv(client)).encode()
    import_sessions(episode=make_episode(other, cast.therapist), raw=raw, by=cast.therapist)
    assert volumes(other) == volumes(client)
    again = GirthSession.objects.filter(episode__client=other).order_by("round")
    assert [(each.round, each.taken_at) for each in again] == [*enumerate(times, start=1)]


def test_everybodys_girths_round_trip_through_the_import_of_all(
    lead: Browser, cast: Cast, taped_client: Client
) -> None:
    second = make_client(family_name="Second")
    make_session(
        make_episode(second, cast.therapist),
        GirthSession.objects.first().protocol,
        taken_on=date(2026, 2, 5),
        right_cm=[30.25] * 11,
    )
    raw = taken(lead.post(reverse("exchange-out", args=["girths"])))
    before = {client.record_number: volumes(client) for client in (taped_client, second)}
    # Another practice: the same people under new keys, without a girth.
    for client in (taped_client, second):
        Client.objects.filter(pk=client.pk).update(record_number=f"X{client.record_number}")
        again = make_client(record_number=client.record_number, family_name="Again")
        make_episode(again, cast.therapist)
    address = reverse("exchange-import", args=["girths"])
    page = lead.post(address, {"file": SimpleUploadedFile("girths.csv", BytesIO(raw).read())})
    assert page.status_code == 200, page.context["problems"]
    lead.post(address, {"checked": page.context["checked"]})
    after = {number: volumes(Client.objects.get(record_number=number)) for number in before}
    assert after == before
    assert GirthReading.objects.count() == 2 * (22 * 3) + 22


def test_everybodys_girths_cost_a_query_a_chunk(
    taped_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(girths_out, "CHUNK", 1)
    make_client()
    with CaptureQueriesContext(connection) as asked:
        assert len(list(record.every_girth_csv())) == 1 + 44
    assert len(asked) == 2 * 2 + 1  # keys and girths of each chunk, then no more keys


# Long files


def test_everybodys_records_stream_with_some_clients_in_memory(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Thirty clients with a letter of 300 kB each: never all of them at once."""
    monkeypatch.setattr(gathering, "CHUNK", 2)
    for _ in range(30):
        episode = make_episode(make_client(), cast.therapist)
        make_letter(episode, cast.lead, pdf=bytes(300_000))
    tracemalloc.start()
    length = sum(len(line) for line in record.every_bundle())
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert length > 30 * 400_000
    assert peak < 0.4 * length


def test_the_command_writes_a_private_file_and_says_who_took_it(cast: Cast, tmp_path: Path) -> None:
    make_client()
    path = tmp_path / "records.ndjson"
    call_command("take_out", "records", str(path), by="leona", stdout=StringIO())
    assert json.loads(path.read_bytes())["type"] == "collection"
    assert path.stat().st_mode & 0o777 == 0o600
    assert Entry.objects.filter(verb="record.taken_out", by=cast.lead).count() == 1
    with pytest.raises(CommandError, match="File exists"):
        call_command("take_out", "girths", str(path), by="leona")
    with pytest.raises(CommandError, match="Only a clinic lead"):
        call_command("take_out", "girths", str(tmp_path / "girths.csv"), by="theo")


def test_a_file_that_could_not_be_begun_is_not_logged_as_taken(cast: Cast, tmp_path: Path) -> None:
    make_client()
    with pytest.raises(CommandError, match="No such file"):
        call_command("take_out", "records", str(tmp_path / "nowhere" / "r.ndjson"), by="leona")
    assert not Entry.objects.filter(verb__endswith="taken_out").exists()


def test_a_full_disk_leaves_no_half_file_that_looks_whole(
    cast: Cast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def until_full() -> Iterator[bytes]:
        yield b"{}\n"
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(record, "every_bundle", until_full)
    path = tmp_path / "records.ndjson"
    with pytest.raises(CommandError, match="No space left"):
        call_command("take_out", "records", str(path), by="leona")
    assert not path.exists()

"""Lists in: checked first, all or none, doubts told, nothing uploaded twice."""

import csv
from datetime import date, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.audit.models import Entry
from clinic.clients.models import Client, Referrer
from clinic.common.vocabulary import Involvement, Limb, Region, RegionSide, Sex
from clinic.exchange.errors import ListRefused
from clinic.exchange.layouts import LISTS, ListKind
from clinic.exchange.services import importing
from clinic.keeping.services.merging import merge_clients
from measurements.errors import ImportRefused
from measurements.models import GirthReading
from measurements.services.imports import keep_sessions
from tests.builders import make_client, make_episode, make_protocol, make_referrer, today
from tests.cast import Cast

PEOPLE = (
    "record_number;given_name;family_name;born_on;sex;phone;email;referrer;agrees_to_letters\r\n"
)
GOOD = (
    PEOPLE + "A1;Zoë;Łukasik;1950-06-07;female;+44 20 7946 0000;z@example.com;Farrow, Odile;no\r\n"
    ";Ivo;Brandt;1948-01-02;;;;;\r\n"
).encode("utf-8-sig")


def address(kind: str) -> str:
    return reverse("exchange-import", args=[kind])


def check(browser: Browser, kind: str, raw: bytes) -> Any:
    return browser.post(address(kind), {"file": SimpleUploadedFile("list.csv", raw)})


def says(page: Any) -> list[tuple[int, str, str]]:
    return [(problem.line, problem.column, said) for problem, said in page.context["problems"]]


@pytest.mark.parametrize("kind", list(ListKind))
def test_each_list_has_a_page_with_its_columns_and_an_example_that_reads(
    lead: Browser, kind: ListKind
) -> None:
    page = lead.get(address(kind)).content.decode()
    assert all(f"<code>{column.name}</code>" in page for column in LISTS[kind].columns)
    example = lead.get(address(kind), {"example": "1"}).content
    rows = list(csv.DictReader(StringIO(example.decode("utf-8-sig"))))
    assert set(rows[0]) == {column.name for column in LISTS[kind].columns}
    checked = check(lead, kind, example)
    told = {column for _, column, _ in says(checked)}
    # The example's client is invented, so girths find nobody; all else reads.
    assert told == ({"record_number"} if kind is ListKind.GIRTHS else set())


def test_clients_are_kept_from_the_very_bytes_that_were_checked(lead: Browser, cast: Cast) -> None:
    referrer = make_referrer()
    page = check(lead, "clients", GOOD)
    assert page.status_code == 200
    assert "UTF-8 separated by semicolons" in page.content.decode()
    assert not Client.objects.exists()
    done = lead.post(address("clients"), {"checked": page.context["checked"]})
    assert done.status_code == 302
    zoe = Client.objects.get(record_number="A1")
    assert (zoe.given_name, zoe.family_name, zoe.sex) == ("Zoë", "Łukasik", Sex.FEMALE)
    assert (zoe.phone, zoe.referrer, zoe.agrees_to_letters) == ("+44 20 7946 0000", referrer, False)
    ivo = Client.objects.get(family_name="Brandt")
    assert ivo.record_number.isdigit()
    assert (ivo.sex, ivo.agrees_to_letters) == (Sex.NOT_SAID, True)
    assert Entry.objects.filter(verb="client.registered", by=cast.lead).count() == 2
    assert Entry.objects.filter(verb="clients.imported", by=cast.lead).count() == 1


def test_every_fault_is_told_with_its_line_and_nothing_is_kept(lead: Browser) -> None:
    make_client(record_number="T9")
    make_referrer()
    make_referrer(organisation="Elsewhere")
    tomorrow = today() + timedelta(days=1)
    raw = (
        PEOPLE
        + "T9;A;One;1950-01-01;;;;;\n"
        + "B1;B;Two;1951-01-01;;;;;\n"
        + "B1;C;Three;1952-01-01;;;;;\n"
        + ";D;Four;3/4/1961;;;;;\n"
        + f";E;Five;{tomorrow.isoformat()};;;;;\n"
        + ";F;Six;1953-01-01;x;;not an address;Nobody, No;perhaps\n"
        + ";G;Seven;1954-01-01;;;no-at;;\n"
        + ";H;Eight;1955-01-01;;;;Odile Farrow;\n"
        + f";{'I' * 61};=1+1;1956-01-01;;;;;\n"
        + f";J;{'J' * 61};1957-01-01;;+1+cmd|'x';;;\n"
        + ";;Eleven;1958-01-01;;;;;\n"
    ).encode()
    page = check(lead, "clients", raw)
    assert page.status_code == 422
    assert page.context["checked"] == ""
    found = {(line, column) for line, column, _ in says(page)}
    assert found == {
        (2, "record_number"),
        (4, "record_number"),
        (5, "born_on"),
        (6, "born_on"),
        (7, "sex"),
        (7, "agrees_to_letters"),
        (7, "email"),
        (7, "referrer"),
        (8, "email"),
        (9, "referrer"),
        (10, "given_name"),
        (10, "family_name"),
        (11, "family_name"),
        (11, "phone"),
        (12, "given_name"),
    }
    told = {(line, column): said for line, column, said in says(page)}
    assert "Line 3" in told[4, "record_number"]
    assert "year-month-day" in told[5, "born_on"]
    assert "2 referrers" in told[9, "referrer"]
    assert Client.objects.count() == 1


@pytest.mark.parametrize("born_on", ["19610304", "1961-W09-6", "1961-3-4"])
def test_a_day_is_written_as_its_column_says_and_no_other_way(lead: Browser, born_on: str) -> None:
    page = check(
        lead, "clients", f"given_name,family_name,born_on\nIvo,Brandt,{born_on}\n".encode()
    )
    ((line, column, said),) = says(page)
    assert (line, column) == (2, "born_on")
    assert "year-month-day" in said


def test_a_comma_inside_an_address_is_named_as_what_divided_the_line(lead: Browser) -> None:
    raw = b"given_name,family_name,born_on,street\nIvo,Brandt,1948-01-02,1 Mill Lane, Saltmere\n"
    ((line, column, said),) = says(check(lead, "clients", raw))
    assert (line, column) == (2, "")
    assert "Put quotation marks around a cell with a comma or semicolon in it" in said


def test_look_alikes_are_told_and_need_an_answer_of_their_own(lead: Browser) -> None:
    make_client(given_name="Ivo", family_name="Brant", born_on="1948-01-02")
    make_referrer()
    page = check(lead, "clients", GOOD)
    (doubt,) = page.context["doubts"]
    assert (doubt.line, doubt.why) == (3, "a small difference in spelling")
    sent = {"checked": page.context["checked"], "mark": page.context["report"].mark}
    refused = lead.post(address("clients"), sent)
    assert refused.status_code == 422
    assert "may be registered already" in refused.content.decode()
    assert 'aria-describedby="are-others-error"' in refused.content.decode()
    assert 'aria-describedby="are-others-error"' not in page.content.decode()
    assert refused.context["checked"] == sent["checked"]  # no second upload
    assert Client.objects.count() == 1
    # Somebody else came meanwhile: the answer does not cover a doubt that nobody has seen.
    make_client(given_name="Zoe", family_name="Lukasik", born_on="1950-06-07")
    again = lead.post(address("clients"), sent | {"are_others": "on"})
    assert (again.status_code, len(again.context["doubts"])) == (422, 2)
    sent["mark"] = again.context["report"].mark
    lead.post(address("clients"), sent | {"are_others": "on"})
    assert Client.objects.count() == 4


def test_two_lines_of_one_person_are_a_doubt_too(lead: Browser) -> None:
    raw = (PEOPLE + ";Ivo;Brandt;1948-01-02;;;;;\n" * 2).encode()
    (doubt,) = check(lead, "clients", raw).context["doubts"]
    assert (doubt.line, doubt.like) == (3, "line 2: Brandt, Ivo")


def test_numbers_that_were_typed_by_hand_are_not_given_twice(lead: Browser) -> None:
    first = (PEOPLE + ";A;One;1950-01-01;;;;;\n").encode()
    lead.post(address("clients"), {"checked": check(lead, "clients", first).context["checked"]})
    number = int(Client.objects.get().record_number)
    make_client(record_number=str(number + 1))
    raw = (PEOPLE + f"{number + 2};B;Two;1951-01-01;;;;;\n;C;Three;1952-01-01;;;;;\n").encode()
    lead.post(address("clients"), {"checked": check(lead, "clients", raw).context["checked"]})
    assert Client.objects.get(family_name="Three").record_number == str(number + 3)


def test_a_changed_or_foreign_upload_saves_nothing(lead: Browser) -> None:
    make_referrer()
    checked = check(lead, "clients", GOOD).context["checked"]
    for kind, sent in (("clients", checked[:-2]), ("referrers", checked)):
        response = lead.post(address(kind), {"checked": sent}, follow=True)
        assert "no longer at hand" in response.content.decode()
    assert not Client.objects.exists()


def test_a_cell_of_two_lines_is_kept_on_one_and_a_header_may_hold_any_blank(lead: Browser) -> None:
    raw = (
        "Given\N{NO-BREAK SPACE}name, Family  name ,BORN ON,street\r\n"
        '" Ivo ",Brandt,1948-01-02,"1 Mill Lane\nBack door"\r\n'
    ).encode()
    page = check(lead, "clients", raw)
    lead.post(address("clients"), {"checked": page.context["checked"]})
    ivo = Client.objects.get()
    assert (ivo.given_name, ivo.street) == ("Ivo", "1 Mill Lane Back door")


def test_referrers_come_in_and_their_doubles_are_told(lead: Browser) -> None:
    make_referrer()
    raw = (
        "title,given_name,family_name,organisation,delivery,letter_frequency,fax\n"
        "Dr.,Odile,Farrow,Other Hospital,fax,quarterly,555-0199\n"
        "Dr.,Bo,Lindqvist,,,,\n"
    ).encode("utf-16")
    page = check(lead, "referrers", raw)
    (doubt,) = page.context["doubts"]
    assert (doubt.line, doubt.why) == (2, "the same name")
    sent = {"checked": page.context["checked"], "mark": page.context["report"].mark}
    lead.post(address("referrers"), sent | {"are_others": "on"})
    assert Referrer.objects.count() == 3
    assert Referrer.objects.get(organisation="Other Hospital").letter_frequency == "quarterly"
    assert Referrer.objects.get(family_name="Lindqvist").delivery == "post"


def test_a_wrong_word_for_a_referrer_is_told_beside_its_line(lead: Browser) -> None:
    raw = b"given_name,family_name,delivery,fax\nBo,Lindqvist,pigeon,=1+1\n,Farrow,post,1\n"
    page = check(lead, "referrers", raw)
    (_, (line, column, said), empty) = says(page)
    assert (line, column, page.status_code) == (2, "delivery", 422)
    assert empty[:2] == (3, "given_name")
    assert "pigeon" in said
    assert "post, fax, hand, email" in said


GIRTHS = "record_number,taken_on,limb,side,level_cm,girth_cm,posture,protocol\n"


def test_girths_of_many_go_to_the_episode_of_their_day(lead: Browser, cast: Cast) -> None:
    protocol = make_protocol(levels_cm=[0, 4])
    client = make_client(record_number="G1")
    early = make_episode(client, cast.therapist, opened_on=today() - timedelta(days=400))
    late = make_episode(client, cast.therapist, opened_on=today() - timedelta(days=100))
    make_client(record_number="G2")
    raw = GIRTHS
    for days in (500, 300, 50):
        day = (today() - timedelta(days=days)).isoformat()
        for level, girth in ((0, 20), (4, 22)):
            raw += f"G1,{day},arm,right,{level},{girth},sitting,{protocol.name.upper()}\n".replace(
                protocol.name.upper(), f'"{protocol.name}"'
            )
    page = check(lead, "girths", raw.encode())
    assert page.status_code == 200, says(page)
    lead.post(address("girths"), {"checked": page.context["checked"]})
    assert (early.girth_sessions.count(), late.girth_sessions.count()) == (2, 1)
    again = check(lead, "girths", raw.encode())  # the same file twice: kept already
    assert again.status_code == 422
    assert [column for _, column, _ in says(again)] == ["taken_on"] * 3


def test_what_is_unusual_says_at_which_side_and_position(lead: Browser, cast: Cast) -> None:
    protocol = make_protocol(levels_cm=[0, 4])
    make_episode(make_client(record_number="G1"), cast.therapist)
    line = f'G1,2026-01-12,arm,{{}},{{}},{{}},sitting,"{protocol.name}"\n'
    raw = GIRTHS + line.format("right", 0, 17) + line.format("right", 4, 45)
    page = check(lead, "girths", raw.encode())
    assert page.context["checked"]
    told = page.context["remarks"]
    assert told
    assert all(line == 2 and said.startswith("Right arm, ") for line, said in told)
    assert any("4 cm: 45.0" in said for _, said in told)


def test_arms_and_legs_go_to_the_episode_that_treats_them(lead: Browser, cast: Cast) -> None:
    """Else the later one of the leg took the arms, and nobody compared them any more."""
    client = make_client(record_number="G1")
    leg = [(Region.LEG, RegionSide.LEFT, Involvement.SWOLLEN)]
    arms = make_episode(client, cast.therapist, opened_on=date(2024, 1, 1))
    legs = make_episode(client, cast.therapist, opened_on=date(2025, 1, 1), regions=leg)
    raw = GIRTHS
    for limb in Limb:
        protocol = make_protocol(name=f"{limb}s", limb=limb, levels_cm=[0, 4])
        for level in protocol.stations.all():
            raw += f"G1,2025-06-02,{limb},left,{level.level_cm},30,sitting,{protocol.name}\n"
    lead.post(
        address("girths"), {"checked": check(lead, "girths", raw.encode()).context["checked"]}
    )
    assert [each.limb for each in arms.girth_sessions.all()] == [Limb.ARM]
    assert [each.limb for each in legs.girth_sessions.all()] == [Limb.LEG]


def test_an_old_number_of_a_merged_record_leads_to_the_one_that_holds_it(
    lead: Browser, cast: Cast
) -> None:
    protocol = make_protocol(levels_cm=[0, 4])
    kept, other = make_client(record_number="G1"), make_client(record_number="G2")
    make_episode(kept, cast.therapist, opened_on=date(2024, 1, 1))
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    erased = make_client(record_number="G3")
    Client.objects.filter(pk=erased.pk).update(
        erased_at=timezone.now(), deactivated_at=timezone.now(), deactivated_reason="Erased."
    )
    line = f'{{}},2024-02-01,arm,right,{{}},2{{}},sitting,"{protocol.name}"\n'
    raw = GIRTHS + line.format("G2", 0, 0) + line.format("G2", 4, 4)
    page = check(lead, "girths", raw.encode())
    assert [each.cells[0] for each in page.context["incoming"]] == ["G1"]
    lead.post(address("girths"), {"checked": page.context["checked"]})
    assert GirthReading.objects.filter(session__episode__client=kept).count() == 2
    gone = check(lead, "girths", (GIRTHS + line.format("G3", 0, 0)).encode())
    assert "No client" in says(gone)[0][2]


def test_a_record_that_is_gone_is_nobodys_double(lead: Browser, cast: Cast) -> None:
    alike = {"given_name": "Ivo", "family_name": "Brandt", "born_on": date(1948, 1, 2)}
    kept, other = make_client(**alike), make_client(**alike)
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    raw = (PEOPLE + ";Ivo;Brandt;1948-01-02;;;;;\n").encode()
    (doubt,) = check(lead, "clients", raw).context["doubts"]
    assert kept.record_number in doubt.like


def test_girths_of_nobody_are_told(lead: Browser) -> None:
    make_client(record_number="G2")
    raw = GIRTHS + (
        "G2,2026-01-02,arm,right,0,20,sitting,Arm\nG3,2026-01-02,arm,right,0,20,sitting,Arm\n"
    )
    told = says(check(lead, "girths", raw.encode()))
    assert [(line, column) for line, column, _ in told] == [
        (2, "record_number"),
        (3, "record_number"),
    ]
    assert "no episode" in told[0][2]
    assert "No client" in told[1][2]


def test_a_mistyped_first_line_is_told_alone_and_each_stray_number_once(
    lead: Browser, cast: Cast
) -> None:
    """A session's posture and protocol stand in its first line: nothing is missing below it."""
    protocol = make_protocol(levels_cm=[0, 4, 8])
    for number in ("G1", "G2"):
        make_episode(make_client(record_number=number), cast.therapist)

    def session(number: str, first: tuple[str, str]) -> str:
        lines = [f'{number},2026-01-12,arm,right,0,20,sitting,"{protocol.name}"\n'.replace(*first)]
        return "".join(
            [*lines, *(f"{number},2026-01-12,arm,right,{cm},2{cm},,\n" for cm in (4, 8))]
        )

    wrong_girth, wrong_number = (",20,", ",x,"), ("G2", "G22")
    page = check(lead, "girths", (GIRTHS + session("G1", wrong_girth)).encode())
    assert [each[:2] for each in says(page)] == [(2, "girth_cm")]
    assert page.context["report"].waiting == 1
    page = check(lead, "girths", (GIRTHS + session("G2", wrong_number)).encode())
    assert [each[:2] for each in says(page)] == [(2, "record_number")]
    # A wrong line of one client is no excuse for what another's session lacks.
    raw = GIRTHS + session("G1", wrong_girth) + session("G2", ("sitting", ""))
    page = check(lead, "girths", raw.encode())
    assert [each[:2] for each in says(page)] == [(2, "girth_cm"), (5, "posture")]
    page = check(lead, "girths", (GIRTHS + session("G9", ("", ""))).encode())
    ((line, _, said),) = says(page)
    assert (line, "3 lines" in said) == (2, True)
    mended = GIRTHS + session("G1", ("", "")) + session("G2", ("", ""))
    assert check(lead, "girths", mended.encode()).context["checked"]


def test_a_refusal_half_way_calls_nothing_recorded_that_was_undone(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    protocol = make_protocol(levels_cm=[0, 4])
    for number in ("G1", "G2"):
        make_episode(make_client(record_number=number), cast.therapist)
    raw = GIRTHS + "".join(
        f'{number},2026-01-12,arm,right,{level},2{level},sitting,"{protocol.name}"\n'
        for number in ("G1", "G2")
        for level in (0, 4)
    )
    kept: list[object] = []

    def once(**part: Any) -> None:
        """The second meets a session that somebody else recorded meanwhile."""
        if kept:
            raise ImportRefused(None)
        kept.append(keep_sessions(**part))

    monkeypatch.setattr(importing, "keep_sessions", once)
    with pytest.raises(ListRefused) as refused:
        importing.import_girths(raw=raw.encode(), seen="", by=cast.lead)
    assert len(kept) == 1
    assert refused.value.report.problems == ()
    assert not GirthReading.objects.exists()


def test_only_the_lead_imports_and_only_by_the_right_method(
    lead: Browser, therapist: Browser, desk: Browser
) -> None:
    assert therapist.get(address("clients")).status_code == 403
    assert check(desk, "clients", GOOD).status_code == 403
    assert lead.put(address("clients")).status_code == 405
    assert lead.get(address("letters")).status_code == 404
    page = check(lead, "clients", b"PK\x03\x04 a spreadsheet")
    assert page.status_code == 422
    assert "Save it as CSV" in page.content.decode()

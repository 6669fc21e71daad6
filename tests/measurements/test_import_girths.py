"""Past sessions from a CSV: every way a file can be odd, the dry run, all or nothing."""

import re
from collections.abc import Iterable
from datetime import time
from time import process_time
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import Episode
from clinic.common.csv_files import COULD_RUN, harmless
from measurements.csv_rows import read_file
from measurements.models import GirthReading, GirthSession, Protocol
from measurements.services.imports import import_sessions
from tests.builders import (
    ARM_LEVELS_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
)
from tests.cast import Cast
from tests.measurements.entry_pages import LEFT_CM, RIGHT_CM

HEADER = "taken_on,time,limb,side,level_cm,trial,girth_cm,weight_kg,posture,protocol,note"


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


@pytest.fixture
def protocol(db: None) -> Protocol:
    return make_protocol(name="Bras")


def lines(day: str = "2025-03-04", time: str = "09:30", note: str = "") -> list[str]:
    """One session of both arms, as 22 lines of the file."""
    girths = {"right": RIGHT_CM, "left": LEFT_CM}
    return [
        f"{day},{time},arm,{side},{level},1,{girth},70.5,sitting,Bras,{note}"
        for side, taped in girths.items()
        for level, girth in zip(ARM_LEVELS_CM, taped, strict=True)
    ]


def file_of(rows: Iterable[str], header: str = HEADER, end: str = "\n") -> str:
    return end.join([header, *rows]) + end


def upload(browser: Browser, episode: Episode, raw: bytes | str) -> Any:
    raw = raw.encode() if isinstance(raw, str) else raw
    file = SimpleUploadedFile("past.csv", raw, "text/csv")
    return browser.post(reverse("girths-import", args=[episode.pk]), {"file": file})


def checked_in(answer: Any) -> str:
    found = re.search(r'name="checked" value="([^"]+)"', answer.content.decode())
    return found[1] if found else ""


def confirm(browser: Browser, episode: Episode, checked: str, **extra: Any) -> Any:
    return browser.post(reverse("girths-import", args=[episode.pk]), {"checked": checked}, **extra)


def test_the_dry_run_saves_nothing_and_the_confirmation_saves_all(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    answer = upload(therapist, episode, file_of(lines() + lines("2025-04-01")))
    assert "Save 2 sessions" in answer.content.decode()
    assert not GirthSession.objects.exists()
    done = confirm(therapist, episode, checked_in(answer), follow=True)
    assert "Imported 2 sessions with 44 girths." in done.content.decode()
    assert GirthReading.objects.count() == 44
    assert str(GirthSession.objects.get(is_baseline=True).taken_on) == "2025-03-04"
    assert Entry.objects.filter(verb="girths.imported").count() == 1


@pytest.mark.parametrize(
    ("encoding", "says"),
    [
        ("utf-8", "UTF-8"),
        ("utf-8-sig", "UTF-8"),
        ("utf-16", "UTF-16"),
        ("utf-16-le", "UTF-16"),
        ("utf-16-be", "UTF-16"),
        ("cp1252", "Windows-1252"),
    ],
)
def test_a_file_is_read_in_the_encoding_it_has(
    therapist: Browser, episode: Episode, protocol: Protocol, encoding: str, says: str
) -> None:
    answer = upload(therapist, episode, file_of(lines(note="œdème – gêne")).encode(encoding))
    assert f"Read as {says}" in answer.content.decode()
    confirm(therapist, episode, checked_in(answer))
    assert GirthSession.objects.get().note == "œdème – gêne"


def test_mixed_line_ends_are_line_ends(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    rows = lines()
    text = HEADER + "\r\n" + "\r".join(rows[:7]) + "\n" + "\r\n".join(rows[7:]) + "\n\n"
    assert "Save 1 session" in upload(therapist, episode, text).content.decode()


@pytest.mark.parametrize("separator", [";", "\t"])
def test_other_separators_and_decimal_commas(
    therapist: Browser, episode: Episode, protocol: Protocol, separator: str
) -> None:
    text = file_of(lines()).replace(",", separator).replace(".", ",")
    confirm(therapist, episode, checked_in(upload(therapist, episode, text)))
    kept = GirthReading.objects.filter(side="right").values_list("girth_cm", flat=True)
    assert [float(girth) for girth in kept] == RIGHT_CM


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (",18.6,", ",eighteen,", "is not a number"),
        (",18.6,", ",,", "Empty"),
        (",18.6,", ",0,", "cannot be a girth"),
        (",18.6,", ",1860,", "more than any limb measures"),
        (",18.6,", ",=2+3,", "could run as a formula"),
        (",18.6,", ",-18.6,", "could run as a formula"),
        (",right,4,", ",middle,4,", "left or right"),
        (",right,4,", ",right,5,", "no tape position at 5 cm"),
        (",right,4,", ",right,0,", "twice"),
        (",right,4,1,", ",right,4,5,", "1, 2 or 3"),
        ("2025-03-04,09:30,arm,right,4,", "04/03/2025,09:30,arm,right,4,", "year-month-day"),
        ("2025-03-04,09:30,arm,right,4,", "2999-03-04,09:30,arm,right,4,", "still to come"),
        ("2025-03-04,09:30,arm,right,4,", "2025-03-04,,arm,right,4,", "some have none"),
        ("18.6,70.5,sitting", "18.6,71.5,sitting", "Differs from line 2"),
        ("18.6,70.5,sitting", "18.6,705,sitting", "cannot weigh 705 kg"),
        ("18.6,70.5,sitting", "18.6,1.9,sitting", "cannot weigh 1.9 kg"),
        ("18.6,70.5,sitting,Bras", "18.6,70.5,sitting,Jambe", "Differs from line 2"),
        ("18.6,70.5,sitting,Bras,", "18,6,70,5,sitting,Bras,", "separate the columns"),
    ],
)
def test_a_wrong_line_is_named_and_nothing_can_be_saved(
    therapist: Browser, episode: Episode, protocol: Protocol, *, old: str, new: str, says: str
) -> None:
    answer = upload(therapist, episode, file_of(lines()).replace(old, new, 1))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert says in page
    assert '<td class="num">3</td>' in page
    assert not checked_in(answer)


def lacking(rows: Iterable[str]) -> list[str]:
    """The lines without posture and protocol, as a session's later lines may be."""
    return [row.replace(",sitting,Bras,", ",,,") for row in rows]


def told(answer: Any) -> list[tuple[int, str]]:
    return [(each.line, each.column) for each in answer.context["problems"]]


@pytest.mark.parametrize(
    ("old", "new", "column"),
    [
        (",17.2,", ",seventeen,", "girth_cm"),
        ("2025-03-04", "4.3.2025", "taken_on"),
        (",09:30,", ",half past nine,", "time"),
        (",arm,", ",armm,", "limb"),
        (",17.2,70.5,", ",17,2,70,5,", ""),
        (",sitting,", ",seated,", "posture"),
    ],
)
def test_a_mistyped_first_line_is_told_alone_and_its_session_waits_for_it(
    therapist: Browser, episode: Episode, protocol: Protocol, *, old: str, new: str, column: str
) -> None:
    """What only the first line says is not told as missing from those below it."""
    first, *rest = lines()
    whole = [first, *lacking(rest)]
    assert checked_in(upload(therapist, episode, file_of(whole)))
    answer = upload(therapist, episode, file_of([first.replace(old, new, 1), *lacking(rest)]))
    assert told(answer) == [(2, column)]
    assert "1 session waits for these lines" in answer.content.decode()
    assert not checked_in(answer)


@pytest.mark.parametrize(
    ("old", "new", "faults"),
    [
        ("2025-03-04", "2999-03-04", [(2, "taken_on")]),
        ("2025-03-04", "2025-03-14", [(2, "level_cm")]),
        (",09:30,", ",,", [(2, "time")]),
        (",09:30,", ",19:30,", [(2, "level_cm")]),
        (",arm,", ",leg,", [(2, "protocol")]),
    ],
)
def test_a_first_line_that_reads_but_stands_apart_is_told_and_not_what_it_says(
    therapist: Browser, episode: Episode, protocol: Protocol, *, old: str, new: str, faults: Any
) -> None:
    first, *rest = lines()
    answer = upload(therapist, episode, file_of([first.replace(old, new, 1), *lacking(rest)]))
    assert told(answer) == faults
    assert "1 session waits for these lines" in answer.content.decode()


@pytest.mark.parametrize(
    ("old", "new", "column"),
    [
        (",Bras,", ",Brass,", "protocol"),
        (",sitting,", ",lying,", "posture"),
        (",70.5,", ",77.5,", "weight_kg"),
    ],
)
def test_a_first_line_that_differs_is_told_and_not_all_the_others(
    therapist: Browser, episode: Episode, protocol: Protocol, *, old: str, new: str, column: str
) -> None:
    first, *rest = lines()
    answer = upload(therapist, episode, file_of([first.replace(old, new, 1), *rest]))
    assert told(answer) == [(2, column)]
    assert "Differs from line 3" in answer.content.decode()


def test_a_mistyped_line_hides_no_fault_of_another_session(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    first, *rest = lines()
    rows = [first.replace("17.2", "x"), *lacking(rest), *lacking(lines("2025-04-01"))]
    answer = upload(therapist, episode, file_of(rows))
    assert told(answer) == [(2, "girth_cm"), (24, "protocol"), (24, "posture")]
    said = [first.replace("17.2", "x").replace("Bras", ""), *lacking(rest)]
    assert told(upload(therapist, episode, file_of(said))) == [(2, "girth_cm"), (3, "protocol")]


def test_a_formula_in_a_note_is_refused(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    answer = upload(therapist, episode, file_of(lines(note="@SUM(A1)")))
    assert "could run as a formula" in answer.content.decode()


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "empty"),
        (b"\n \n", "empty"),
        (b"PK\x03\x04\x00\x00", "Save it as CSV"),
        (b"\x81\x8d\x00\x00\x01\x00\x02", "not readable as text"),
        (HEADER.replace("girth_cm", "umfang").encode(), "not known"),
        (f"{HEADER},x,y\n".encode(), "2 columns that are not known: “x”, “y”"),
        (HEADER.replace(",girth_cm", "").encode(), "has no column"),
        (f"{HEADER},note\n".encode(), "twice"),
        (f"{HEADER}\n".encode(), "No girths in this file"),
    ],
)
def test_a_file_that_is_none_is_explained(
    therapist: Browser, episode: Episode, protocol: Protocol, raw: bytes, says: str
) -> None:
    answer = upload(therapist, episode, raw)
    assert says in answer.content.decode()
    assert not checked_in(answer)


def test_line_numbers_are_those_of_the_file_even_after_a_note_of_two_lines() -> None:
    rows = [lines()[0] + '"two\nlines"', lines()[1].replace("18.6", "x")]
    assert read_file(file_of(rows).encode()).problems[0].line == 4
    both_wrong = [rows[0].replace("17.2", "x"), rows[1]]
    assert [each.line for each in read_file(file_of(both_wrong).encode()).problems] == [2, 4]


@pytest.mark.parametrize("note", ['"tight', '"tight" at night'])
def test_a_quotation_mark_that_is_never_closed_swallows_no_line(
    therapist: Browser, episode: Episode, protocol: Protocol, note: str
) -> None:
    rows = [line + note if place == 3 else line for place, line in enumerate(lines())]
    answer = upload(therapist, episode, file_of(rows))
    assert answer.status_code == 422
    assert "In line 5 a quotation mark opens a cell" in answer.content.decode()
    assert not checked_in(answer)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("9:30", time(9, 30)), ("9:30:00", time(9, 30)), ("09:30:15", time(9, 30, 15)), ("", None)],
)
def test_a_time_is_read_as_spreadsheets_write_it(typed: str, meant: time | None) -> None:
    (row, *_) = read_file(file_of(lines(time=typed)).encode()).rows
    assert row.taken_at == meant


@pytest.mark.parametrize(
    "note", ["-2 cm, by sight", "'=quoted by hand", "=" + 299 * "a", "' @", "plain", "'plain"]
)
def test_a_note_comes_back_from_our_own_file_as_it_was(note: str) -> None:
    cell = harmless(note)
    assert not cell.startswith(COULD_RUN)
    (row, *_) = read_file(file_of([lines(note=f'"{cell}"')[0]]).encode()).rows
    assert row.note == note


def test_an_unknown_protocol_is_named(therapist: Browser, episode: Episode) -> None:
    page = upload(therapist, episode, file_of(lines())).content.decode()
    assert "No protocol is called “Bras”" in page


def test_a_session_recorded_already_is_reported(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    raw = file_of(lines())
    checked = checked_in(upload(therapist, episode, raw))
    confirm(therapist, episode, checked)
    assert "already" in upload(therapist, episode, raw).content.decode()
    again = confirm(therapist, episode, checked)
    assert "no longer fits" in again.content.decode()
    assert GirthSession.objects.count() == 1


def test_another_time_of_the_day_is_its_next_round(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    text = file_of(lines(time="15:00") + lines())
    confirm(therapist, episode, checked_in(upload(therapist, episode, text)))
    rounds = GirthSession.objects.order_by("round").values_list("round", "taken_at__hour")
    assert list(rounds) == [(1, 9), (2, 15)]


def test_unusual_girths_are_shown_and_kept_as_confirmed(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    answer = upload(therapist, episode, file_of(lines()).replace(",17.2,", ",18.2,", 1))
    assert "outside what is usual" in answer.content.decode()
    confirm(therapist, episode, checked_in(answer))
    assert float(GirthReading.objects.get(was_confirmed=True).girth_cm) == 18.2


def test_only_the_bytes_that_were_checked_can_be_confirmed(
    therapist: Browser, episode: Episode, protocol: Protocol, cast: Cast, signed_in: Any
) -> None:
    checked = checked_in(upload(therapist, episode, file_of(lines())))
    other = signed_in(cast.other_therapist)
    for browser, text in ((therapist, checked[:-2] + "xx"), (other, checked), (therapist, "")):
        page = confirm(browser, episode, text, follow=True).content.decode()
        assert "nothing was saved" in page
    assert not GirthSession.objects.exists()


def test_the_example_can_be_imported_as_it_is(
    therapist: Browser, episode: Episode, db: None
) -> None:
    raw = therapist.get(reverse("girths-import", args=[episode.pk]) + "?example=1").content
    assert checked_in(upload(therapist, episode, raw))


def test_fifty_thousand_rows_take_seconds_and_a_bounded_number_of_queries(
    episode: Episode, protocol: Protocol, cast: Cast
) -> None:
    days = [
        f"{year}-{month:02}-{day:02}"
        for year in range(2000, 2025)
        for month in range(1, 13)
        for day in range(1, 9)
    ]
    rows = [row for day in days[:2273] for row in lines(day)]
    raw = file_of(rows).encode()
    began = process_time()
    with CaptureQueriesContext(
        connection,
    ) as queries:
        report = import_sessions(episode=episode, raw=raw, by=cast.therapist)
    took_s = process_time() - began
    assert report.file.row_count >= 50_000
    assert GirthReading.objects.count() == report.file.row_count
    assert len(queries) < 40  # 22 of them INSERTs of up to 5,000 rows
    assert took_s < 15, took_s  # seconds of this process; a busy machine does not count
    print(f"{report.file.row_count} rows in {took_s:.1f} s of processor, {len(queries)} queries")


def test_a_recorded_session_of_the_same_day_at_another_time_does_not_stand_in_the_way(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    make_session(episode, protocol, taken_on="2025-03-04")
    confirm(therapist, episode, checked_in(upload(therapist, episode, file_of(lines()))))
    assert set(GirthSession.objects.values_list("round", flat=True)) == {1, 2}


def test_the_front_desk_is_refused(desk: Browser, episode: Episode) -> None:
    assert desk.get(reverse("girths-import", args=[episode.pk])).status_code == 403


def test_other_methods_are_refused(therapist: Browser, episode: Episode) -> None:
    assert therapist.put(reverse("girths-import", args=[episode.pk])).status_code == 405


def test_no_file_is_said_beside_the_field(therapist: Browser, episode: Episode) -> None:
    page = therapist.post(reverse("girths-import", args=[episode.pk])).content.decode()
    assert "Choose a file first" in page

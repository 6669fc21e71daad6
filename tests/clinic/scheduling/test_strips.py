"""A day laid out as a strip: nothing lost, nothing twice, names escaped, odd times drawn."""

from datetime import date, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client as Browser
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.scheduling.clocks import read_clock
from clinic.scheduling.spans import Span, lasting, merged, moment, without
from clinic.scheduling.strips import Ruler, gap_pieces, in_hours, lanes, ruler_over, strip
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import a_monday, booked, text_of

NEW_YORK = ZoneInfo("America/New_York")
# tz database: the clocks change on 8 March and 1 November 2026.
DAYS = [date(2026, 3, 2), date(2026, 3, 8), date(2026, 11, 1)]
TAKEN = st.lists(st.tuples(st.integers(0, 24 * 12 - 1), st.integers(1, 24)), max_size=10)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(DAYS), TAKEN)
def test_every_strip_is_as_long_as_its_ruler(day: date, taken: list[tuple[int, int]]) -> None:
    ruler = Ruler(NEW_YORK, 8, 18)
    midnight = moment(day, time.min, NEW_YORK)
    busy = merged(lasting(midnight + timedelta(minutes=5 * at), 5 * n) for at, n in taken)
    free = without([lasting(midnight + timedelta(hours=9), 480)], busy)
    gaps = [piece for gap in free for piece in gap_pieces(gap, NEW_YORK, by_hour=True)]
    cells = strip(ruler, day, [(span, span) for span in busy], gaps)
    assert sum(cell.steps for cell in cells) == ruler.steps == 120
    assert all(cell.steps > 0 for cell in cells)


def test_spans_off_the_grid_touch_but_never_push_the_strip_out() -> None:
    ruler, day = Ruler(NEW_YORK, 8, 9), DAYS[0]
    spans = [Span(moment(day, time(8, a), NEW_YORK), moment(day, time(8, b), NEW_YORK)) for a, b in
             [(0, 7), (7, 23), (23, 24)]]  # fmt: skip
    cells = strip(ruler, day, [(span, span) for span in spans], [])
    assert [cell.steps for cell in cells] == [2, 3, 7]


def test_a_ruler_reaches_over_everything_booked() -> None:
    early = lasting(moment(DAYS[0], time(6, 40), NEW_YORK), 30)
    late = lasting(moment(DAYS[0], time(19, 30), NEW_YORK), 45)
    ruler = ruler_over(NEW_YORK, [early, late])
    assert (ruler.open_hour, ruler.close_hour) == (6, 21)
    assert ruler_over(NEW_YORK, []).hours == range(8, 18)


def test_a_gap_is_cut_at_the_full_hours_only_when_asked() -> None:
    gap = lasting(moment(DAYS[0], time(9, 15), NEW_YORK), 120)
    pieces = [piece for _, piece in gap_pieces(gap, NEW_YORK, by_hour=True)]
    assert [(piece.clock, piece.minutes) for piece in pieces] == [
        ("09:15", 45),
        ("10:00", 60),
        ("11:00", 15),
    ]
    assert [piece.is_first for piece in pieces] == [True, False, False]
    ((_, whole),) = gap_pieces(gap, NEW_YORK, by_hour=False)
    assert (whole.clock, whole.length) == ("09:15", "2 h")


def test_what_overlaps_is_drawn_in_rows_of_its_own() -> None:
    base = moment(DAYS[0], time(9), NEW_YORK)
    spans = [lasting(base + timedelta(minutes=m), 60) for m in (0, 30, 60)]
    rows = lanes([(span, span) for span in spans])
    assert [[span for span, _ in row] for row in rows] == [[spans[0], spans[2]], [spans[1]]]


@pytest.mark.parametrize(
    ("minutes", "said"), [(45, "45 min"), (60, "1 h"), (75, "1 h 15"), (480, "8 h")]
)
def test_lengths_are_said_shortly(minutes: int, said: str) -> None:
    assert in_hours(minutes) == said


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("9", time(9)),
        ("930", time(9, 30)),
        ("9:30", time(9, 30)),
        ("09.30", time(9, 30)),
        ("14:30", time(14, 30)),
        ("1430", time(14, 30)),
        ("2 pm", time(14)),
        ("2:15PM", time(14, 15)),
        ("12 am", time(0)),
        ("12 pm", time(12)),
        ("0:05", time(0, 5)),
        ("24:00", None),
        ("9:60", None),
        ("13 pm", None),
        ("0 am", None),
        ("noon", None),
        ("", None),
    ],
)
def test_a_time_of_day_is_read_as_people_type_it(typed: str, meant: time | None) -> None:
    assert read_clock(typed) == meant


def test_a_name_is_escaped_in_the_strip(desk: Browser, cast: Cast) -> None:
    booked(cast.therapist, a_monday(), client=make_client(family_name='<b title="x">Quill'))
    page = text_of(desk.get(f"/calendar/?on={a_monday()}"))
    assert '<b title="x">' not in page
    assert "&lt;b title=&quot;x&quot;&gt;Quill M." in page

"""The clinic's size charts: the dry run, all or nothing, every way a file can be odd."""

import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from programmes.models import SizeChart, SizeChartSpan
from programmes.selectors.size_charts import chart_of, charts_to_choose
from programmes.size_rows import read_chart
from tests.cast import Cast
from tests.programmes.garments import CHART_CSV, size_chart

pytestmark = pytest.mark.django_db
FACTS = {"name": "Sleeves", "limb": "arm", "start_landmark": "ulnar styloid"}
HEADER = "size,place,level_cm,from_cm,to_cm"


def upload(browser: Browser, raw: str | bytes, **facts: str) -> Any:
    raw = raw.encode() if isinstance(raw, str) else raw
    file = SimpleUploadedFile("chart.csv", raw, "text/csv")
    return browser.post(reverse("size-chart-import"), FACTS | facts | {"file": file})


def checked_in(answer: Any) -> str:
    found = re.search(r'name="checked" value="([^"]+)"', answer.text)
    return found[1] if found else ""


def confirm(browser: Browser, checked: str, **facts: str) -> Any:
    return browser.post(reverse("size-chart-import"), FACTS | facts | {"checked": checked})


def test_the_dry_run_saves_nothing_and_the_confirmation_saves_all(lead: Browser) -> None:
    answer = upload(lead, CHART_CSV)
    assert "Ready to be saved" in answer.text
    assert "16 to 18.5" in answer.text
    assert not SizeChart.objects.exists()
    kept_at = confirm(lead, checked_in(answer)).url
    assert SizeChartSpan.objects.count() == 4
    page = lead.get(kept_at).text
    assert "20 cm above the ulnar styloid" in page
    assert Entry.objects.filter(verb="size_chart.imported").count() == 1


def test_sizes_and_places_come_back_in_the_order_of_the_file(cast: Cast) -> None:
    table = chart_of(size_chart(cast.lead))
    assert [size.name for size in table.sizes] == ["S", "M"]
    assert table.places == ("wrist", "below the elbow")


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (["S,wrist,0,16,14"], "Runs backwards: from 16 to 14 cm."),
        (["S,wrist,0,14,16", "S,wrist,0,15,17"], "The same size and place stand in line 2."),
        (["S,wrist,0,14,16", "S,elbow,20,20,24", "M,wrist,0,16,18"], "has no line for elbow"),
        (["S,wrist,0,14,16", "M,wrist,2,16,18"], "gives 0 cm as the level of wrist"),
        (["S,wrist,0,14,wide"], "the largest girth in cm"),
        (["S,wrist,0,0,16"], "the smallest girth in cm"),
        (["S,wrist,0,14,1600"], "the largest girth in cm"),
        (["S,wrist,0.55,14,16"], "how many cm above"),
        (["S,,0,14,16"], "the measuring place"),
        (["=S,wrist,0,14,16"], "which a spreadsheet could run as a formula"),
        (["S,wrist,0,14,16,9"], "cells, and the first line names 5"),
    ],
)
def test_a_wrong_line_is_told_with_its_number_and_nothing_can_be_saved(
    lead: Browser, rows: list[str], message: str
) -> None:
    answer = upload(lead, "\n".join([HEADER, *rows]))
    assert answer.status_code == 422
    assert message in answer.text
    assert not checked_in(answer)
    assert 'value="Sleeves"' in answer.text


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"", "The file is empty"),
        (b"PK\x03\x04", "This is a spreadsheet"),
        (b"size,place\nS,wrist", "has no column"),
        (b"size,place,from_cm,to_cm,colour\n", "a column “colour”"),
        (b"size,place,from_cm,to_cm\n", "No sizes in this file"),
    ],
)
def test_a_file_that_is_no_chart_is_refused_in_a_sentence(
    lead: Browser, raw: bytes, message: str
) -> None:
    answer = upload(lead, raw)
    assert message in answer.text
    assert not SizeChart.objects.exists()


def test_semicolons_and_decimal_commas_are_read() -> None:
    raw = "size;place;from_cm;to_cm\nS;wrist;14,5;16,5\n".encode("cp1252")
    row = read_chart(raw).rows[0]
    assert (float(row.from_cm), float(row.to_cm), row.level_cm) == (14.5, 16.5, None)


def test_a_name_in_use_is_refused_before_anything_is_read(lead: Browser, cast: Cast) -> None:
    size_chart(cast.lead, name="SLEEVES")
    answer = upload(lead, CHART_CSV)
    assert "Another size chart in use has this name." in answer.text
    assert SizeChart.objects.count() == 1


def test_and_again_when_two_confirm_at_once(lead: Browser, cast: Cast) -> None:
    checked = checked_in(upload(lead, CHART_CSV))
    size_chart(cast.lead, name="Sleeves")
    assert "Another size chart in use has this name." in confirm(lead, checked).text
    assert SizeChart.objects.count() == 1


def test_bytes_that_were_not_checked_are_not_saved(lead: Browser) -> None:
    answer = confirm(lead, "made up")
    assert "no longer at hand" in answer.text
    assert not SizeChart.objects.exists()


def test_a_retired_chart_is_offered_no_more_and_its_name_is_free(lead: Browser, cast: Cast) -> None:
    old = size_chart(cast.lead, name="Sleeves")
    lead.post(reverse("size-chart-retire", args=[old.pk]))
    assert not charts_to_choose("arm").exists()
    confirm(lead, checked_in(upload(lead, CHART_CSV)))
    assert "retired" in lead.get(reverse("size-charts")).text
    assert SizeChart.objects.count() == 2


def test_a_therapist_reads_charts_and_only_the_lead_imports_them(
    therapist: Browser, desk: Browser, cast: Cast
) -> None:
    kept = size_chart(cast.lead)
    assert therapist.get(reverse("size-chart", args=[kept.pk])).status_code == 200
    assert "Import a chart" not in therapist.get(reverse("size-charts")).text
    assert therapist.get(reverse("size-chart-import")).status_code == 403
    assert therapist.post(reverse("size-chart-retire", args=[kept.pk])).status_code == 403
    assert desk.get(reverse("size-charts")).status_code == 403


def test_looking_takes_no_post_and_retiring_no_get(lead: Browser, cast: Cast) -> None:
    kept = size_chart(cast.lead)
    assert lead.post(reverse("size-charts")).status_code == 405
    assert lead.get(reverse("size-chart-retire", args=[kept.pk])).status_code == 405


def test_the_example_file_passes_its_own_check(lead: Browser) -> None:
    raw = lead.get(reverse("size-chart-import"), {"example": 1}).content
    assert read_chart(raw).is_ready


def test_without_a_chart_the_page_says_so(lead: Browser) -> None:
    assert "No size chart yet." in lead.get(reverse("size-charts")).text

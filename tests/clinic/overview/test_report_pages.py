"""The report's page and file: who may, what is asked, what is kept, what may leave."""

import csv
import re
from datetime import date, timedelta
from io import StringIO

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.overview.report_csv import COLUMNS
from tests.builders import make_client, make_episode, make_referrer, today
from tests.cast import Cast

PAGE, FILE = "practice-report", "practice-report-file"
YEAR = {"from_on": "1 Jan 2026", "to_on": "31 Dec 2026"}


def asked(browser: Browser, name: str = PAGE, **days: str) -> tuple[int, str]:
    response = browser.get(reverse(name), days)
    return response.status_code, response.content.decode()


def verbs() -> list[str]:
    return list(Entry.objects.order_by("pk").values_list("verb", flat=True))


def test_an_empty_practice_is_told_so(lead: Browser) -> None:
    status, text = asked(lead)
    assert status == 200
    assert "Nothing was recorded in either period yet" in text
    assert "<table" not in text


def test_the_lead_opens_the_report_and_both_looks_are_kept(cast: Cast, lead: Browser) -> None:
    make_episode(make_client(referrer=make_referrer()), cast.therapist)
    status, text = asked(lead, **YEAR)
    assert status == 200
    assert "Practice report, 2026" in text
    assert verbs() == ["report.seen"]
    assert lead.get(reverse(FILE), YEAR).status_code == 200
    assert verbs() == ["report.seen", "report.downloaded"]


@pytest.mark.parametrize("name", [PAGE, FILE])
def test_only_the_lead_may_and_only_to_look(
    name: str, lead: Browser, therapist: Browser, desk: Browser
) -> None:
    assert therapist.get(reverse(name)).status_code == 403
    assert desk.get(reverse(name)).status_code == 403
    assert lead.post(reverse(name)).status_code == 405
    assert verbs() == []
    assert reverse(PAGE) in lead.get("/").content.decode()
    assert reverse(PAGE) not in therapist.get("/").content.decode()


@pytest.mark.parametrize(
    ("from_on", "to_on", "sentence"),
    [
        ("soon", "31 Mar 2026", "soon"),
        ("1 Mar 2026", "", "This field is required"),
        ("1 Mar 2026", "1 Feb 2026", "lies before the first"),
        ("1 Mar 2026", "27 Mar 2026", "These are 27 days"),
        ("1 Mar 1999", "1 Mar 2026", "five years at most"),
        ("1 Dec 9999", "31 Dec 9999", "Give a day from 1900 to 2199"),
        ("1 Jan 0001", "28 Feb 0001", "Give a day from 1900 to 2199"),
    ],
)
@pytest.mark.parametrize("name", [PAGE, FILE])
def test_days_that_cannot_be_are_kept_with_what_is_wrong(
    name: str, from_on: str, to_on: str, sentence: str, lead: Browser
) -> None:
    status, text = asked(lead, name, from_on=from_on, to_on=to_on)
    assert status == 422
    assert sentence in text
    assert f'value="{from_on}"' in text
    assert "Not a" not in text or from_on == "soon"
    assert verbs() == []


@pytest.fixture
def sources(cast: Cast) -> None:
    """Six clients sent by one speciality, two by another, one by nobody; all registered today."""
    many = make_referrer(family_name="Nightjar", speciality="Medical oncology")
    few = make_referrer(family_name="Sandpiper", speciality='=HYPERLINK("http://x","y")')
    for referrer in [many] * 6 + [few] * 2 + [None]:
        make_episode(
            make_client(referrer=referrer, family_name="Dunlin"), cast.therapist, opened_on=today()
        )


def around_today() -> dict[str, str]:
    on = today()
    return {"from_on": f"{on - timedelta(days=30)}", "to_on": f"{on + timedelta(days=5)}"}


def rows_of(browser: Browser) -> list[dict[str, str]]:
    response = browser.get(reverse(FILE), around_today())
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    assert "attachment" in response["Content-Disposition"]
    return list(csv.DictReader(StringIO(response.content.decode("utf-8-sig"))))


@pytest.mark.usefixtures("sources")
def test_page_and_file_show_the_same_counts_and_no_names(lead: Browser) -> None:
    _, text = asked(lead, **around_today())
    rows = [row for row in rows_of(lead) if row["section"] == "Referrals by source"]
    first_on = around_today()["from_on"]
    now = {row["what"]: row["count"] for row in rows if row["from"] == first_on}
    # Six, two and one: the last two are small, so the sum is 6 + 1 + 1 to 6 + 4 + 4.
    assert now == {
        "Clients referred": "8 to 14",
        "Medical oncology": "6",
        '\'=HYPERLINK("http://x","y")': "<5",
        "No referrer recorded": "<5",
    }
    cells = [" ".join(cell.split()) for cell in re.findall(r'<td class="num">([^<]*)<', text)]
    assert cells[:4] == ["8 to 14", "6", "&lt;5", "&lt;5"]
    whole = text + str(rows_of(lead))
    for name in ("Dunlin", "Nightjar", "Sandpiper", "Theo"):
        assert name not in whole.replace("Leona Vale", "")


@pytest.mark.usefixtures("sources")
def test_every_cell_of_the_file_is_harmless(lead: Browser) -> None:
    rows = rows_of(lead)
    assert any("HYPERLINK" in row["what"] for row in rows)
    for row in rows:
        assert tuple(row) == COLUMNS
        for cell in row.values():
            assert not cell.startswith(("=", "+", "@", "\t", "\r"))
            assert not cell.startswith("-")


@pytest.mark.usefixtures("sources")
def test_a_running_period_says_up_to_which_day(lead: Browser) -> None:
    assert "counted up to" in asked(lead, **around_today())[1]
    assert "counted up to" not in asked(lead, from_on="2026-01-01", to_on="2026-03-31")[1]
    assert date.fromisoformat(around_today()["to_on"]) > today()

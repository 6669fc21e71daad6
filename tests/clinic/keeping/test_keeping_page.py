"""The lead sees when the record was last backed up and tried, and is warned when it was not."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.keeping.models import Run, RunKind
from tests.cast import Cast

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _of_a_clinic(settings: Any) -> None:
    settings.BACKUPS_EXPECTED = True


def ran(kind: RunKind, *, hours_ago: float, said: str = "") -> Run:
    began_at = timezone.now() - timedelta(hours=hours_ago)
    return Run.objects.create(
        kind=kind,
        began_at=began_at,
        ended_at=began_at + timedelta(minutes=2),
        is_good=not said,
        said=said,
        file_name="2026-03-04-023000.ebbline-backup",
        backup_made_at=began_at,
        byte_count=1024,
        row_count=4321,
        table_count=70,
    )


def page_of(browser: Browser, name: str) -> str:
    return browser.get(reverse(name)).content.decode()


def test_a_clinic_that_never_made_a_backup_is_told(lead: Browser) -> None:
    today = page_of(lead, "today")
    assert "There has been no backup yet." in today
    assert "There has been no drill yet." in today
    assert reverse("keeping") in page_of(lead, "practice")
    assert "none yet" in page_of(lead, "keeping")


def test_when_all_is_well_today_is_silent(lead: Browser) -> None:
    ran(RunKind.BACKUP, hours_ago=9)
    ran(RunKind.DRILL, hours_ago=80)
    today, page = page_of(lead, "today"), page_of(lead, "keeping")
    assert "notice-warning" not in today
    assert "notice-warning" not in page
    assert "4321 rows in 70 tables" in page


@pytest.mark.parametrize(
    ("kind", "hours"), [(RunKind.BACKUP, 37), (RunKind.DRILL, 9 * 24 + 1)], ids=str
)
def test_what_is_late_is_told(lead: Browser, kind: RunKind, hours: int) -> None:
    ran(RunKind.BACKUP, hours_ago=1)
    ran(RunKind.DRILL, hours_ago=1)
    Run.objects.filter(kind=kind).delete()
    ran(kind, hours_ago=hours)
    assert f"The {kind.label} is late." in page_of(lead, "today")
    assert "<b>This is late.</b>" in page_of(lead, "keeping")


def test_a_failure_is_told_with_its_reason_until_the_next_success(lead: Browser) -> None:
    ran(RunKind.DRILL, hours_ago=3)
    ran(RunKind.BACKUP, hours_ago=20)
    ran(RunKind.BACKUP, hours_ago=2, said="The disk is full.")
    assert "The last backup failed." in page_of(lead, "today")
    assert "The disk is full." in page_of(lead, "keeping")
    ran(RunKind.BACKUP, hours_ago=1)
    assert "failed." not in page_of(lead, "today")


def test_a_trial_is_not_warned(lead: Browser, settings: Any) -> None:
    settings.BACKUPS_EXPECTED = False
    assert "no backup yet" not in page_of(lead, "today")


def test_only_the_lead_sees_it(cast: Cast, desk: Browser, therapist: Browser) -> None:
    for browser in (desk, therapist):
        assert browser.get(reverse("keeping")).status_code == 403
        assert "no backup yet" not in page_of(browser, "today")


def test_the_page_only_shows(lead: Browser) -> None:
    assert lead.post(reverse("keeping")).status_code == 405
    assert lead.post(reverse("retention")).status_code == 405
    assert lead.post(reverse("erasures")).status_code == 405

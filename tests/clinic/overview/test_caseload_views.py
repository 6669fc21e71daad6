"""Saved views of the caseload: one's own alone, one of them opened first."""

from collections.abc import Callable

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.accounts.models import SavedView, User
from clinic.clients.models import Episode
from tests.cast import Cast
from tests.clinic.overview.caseload_lines import PAGE, text_of


@pytest.mark.usefixtures("three")
def test_a_view_is_saved_opens_first_is_renamed_and_deleted(cast: Cast, therapist: Browser) -> None:
    new = reverse("caseload-view-new") + "?whose=all&judged=worse&order=-excess&search=kept"
    assert therapist.get(new).status_code == 200
    kept = therapist.post(new, {"name": "Worse first", "is_default": "on"})
    view = SavedView.objects.get()
    assert view.asked == {"whose": "all", "judged": "worse", "order": "-excess"}
    assert kept.url == f"{PAGE}?whose=all&judged=worse&order=-excess"
    opened = text_of(therapist.get(PAGE))
    assert "Worseley" in opened
    assert "Bettering" not in opened
    edit = reverse("caseload-view-edit", args=[view.pk])
    therapist.post(edit, {"name": "Growing"})
    view.refresh_from_db()
    assert (view.name, view.is_default) == ("Growing", False)
    assert "Bettering" in text_of(therapist.get(PAGE))
    therapist.post(reverse("caseload-view-delete", args=[view.pk]))
    assert not SavedView.objects.exists()
    assert Episode.objects.count() == 4


def test_one_view_opens_first_and_a_name_stands_once(cast: Cast, therapist: Browser) -> None:
    new = reverse("caseload-view-new") + "?whose=all"
    therapist.post(new, {"name": "All", "is_default": "on"})
    refused = therapist.post(new, {"name": "ALL", "is_default": "on"})
    assert refused.status_code == 200
    assert "You have a view of this name" in text_of(refused)
    assert 'value="ALL"' in refused.content.decode()
    therapist.post(new, {"name": "Other", "is_default": "on"})
    assert list(SavedView.objects.filter(is_default=True).values_list("name", flat=True)) == [
        "Other"
    ]
    empty = therapist.post(new, {"name": ""})
    assert "This field is required" in text_of(empty)


def test_nobody_elses_view_is_seen_changed_or_deleted(
    cast: Cast, signed_in: Callable[[User], Browser]
) -> None:
    view = SavedView.objects.create(owner=cast.therapist, name="Private", asked={"whose": "all"})
    other = signed_in(cast.other_therapist)
    assert "Private" not in text_of(other.get(PAGE))
    assert other.get(reverse("caseload-view-edit", args=[view.pk])).status_code == 404
    assert other.post(reverse("caseload-view-delete", args=[view.pk])).status_code == 404
    assert SavedView.objects.filter(pk=view.pk).exists()

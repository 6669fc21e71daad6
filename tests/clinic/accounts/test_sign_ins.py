"""Where a person is signed in, ending it, and being signed out when nobody is there."""

from collections.abc import Iterator
from datetime import timedelta
from importlib import import_module
from io import StringIO
from typing import Any
from uuid import UUID

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import ProgrammingError, transaction
from django.forms import BaseForm, PasswordInput
from django.test import Client as Browser
from django.urls import reverse, reverse_lazy
from django.utils import timezone

from clinic.accounts.access import AccountEvent, SecondFactor, SignedIn
from clinic.accounts.devices import device_words
from clinic.accounts.forms import SignInForm
from clinic.accounts.models import User
from clinic.accounts.selectors import sign_ins_of
from clinic.accounts.sessions import PLACE
from clinic.common.failing import SECRET
from tests.cast import PASSWORD, Cast

pytestmark = pytest.mark.django_db
FIREFOX = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0"
TABLET = (
    "Mozilla/5.0 (iPad; CPU OS 18_0 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko)"
    " Version/18.0 Mobile/15E148 Safari/604.1"
)
IDLE = timedelta(minutes=15, seconds=1)
BACKGROUND = {"X-Background": "yes"}


def signed_in(user: User, agent: str = FIREFOX, address: str = "192.0.2.10") -> Browser:
    browser = Browser(headers={"user-agent": agent}, REMOTE_ADDR=address)
    sent = browser.post(reverse("sign-in"), {"username": user.sign_in_name, "password": PASSWORD})
    assert sent.url == reverse("today")
    return browser


def let_pass(browser: Browser, time: timedelta) -> None:
    SignedIn.objects.filter(session_key=browser.session.session_key).update(
        seen_at=timezone.now() - time
    )


def is_in(browser: Browser) -> bool:
    return browser.get(reverse("today")).status_code == 200


# Agent strings as the browsers' makers document them (MDN, "User-Agent reference"; from memory).
@pytest.mark.parametrize(
    ("agent", "said"),
    [
        (FIREFOX, "Firefox on Windows"),
        (TABLET, "Safari on iPad"),
        ("curl/8.5.0", "an unknown device"),
        ("", "an unknown device"),
    ],
)
def test_a_device_is_told_in_rough_words(agent: str, said: str) -> None:
    assert device_words(agent) == said


def test_the_account_page_lists_each_place_and_ends_one(cast: Cast) -> None:
    desktop, tablet = signed_in(cast.therapist), signed_in(cast.therapist, TABLET, "192.0.2.20")
    page = desktop.get(reverse("account")).text
    assert "Firefox on Windows" in page
    assert "Safari on iPad" in page
    assert "192.0.2.20" in page
    assert tablet.session.session_key not in page
    [other] = [
        one
        for one in sign_ins_of(cast.therapist, this_key=desktop.session.session_key)
        if not one.is_this
    ]
    desktop.post(reverse("sign-in-end", args=[other.mark]))
    assert (is_in(desktop), is_in(tablet)) == (True, False)


def test_nobody_ends_anothers_sign_in_by_its_mark(cast: Cast, desk: Browser) -> None:
    therapist = signed_in(cast.therapist)
    [one] = sign_ins_of(cast.therapist)
    desk.post(reverse("sign-in-end", args=[one.mark]))
    assert is_in(therapist)


def test_all_others_are_ended_at_once_and_by_a_new_password(cast: Cast) -> None:
    here, there, third = (signed_in(cast.therapist) for _ in range(3))
    here.post(reverse("sign-ins-end"))
    assert (is_in(here), is_in(there)) == (True, False)
    there = signed_in(cast.therapist)
    new = "four words none expects"
    here.post(reverse("choose-password"), {"password_now": PASSWORD, "password": new, "again": new})
    assert (is_in(here), is_in(there), is_in(third)) == (True, False, False)


def test_the_lead_ends_a_colleagues_and_switching_off_ends_all(lead: Browser, cast: Cast) -> None:
    there = signed_in(cast.therapist)
    lead.post(reverse("staff-sign-ins-end", args=[cast.therapist.pk]))
    assert not is_in(there)
    there = signed_in(cast.therapist)
    details = {"sign_in_name": "theo", "display_name": "Theo", "role": "therapist"}
    lead.post(reverse("staff-edit", args=[cast.therapist.pk]), details)
    assert not SignedIn.objects.filter(user=cast.therapist).exists()
    assert not is_in(there)


def test_the_leads_own_one_time_password_keeps_them_signed_in(lead: Browser, cast: Cast) -> None:
    assert "shown this once" in lead.post(reverse("staff-password", args=[cast.lead.pk])).text
    assert lead.get(reverse("today")).url == reverse("choose-password")


def test_who_does_nothing_for_a_quarter_of_an_hour_is_signed_out(cast: Cast) -> None:
    browser = signed_in(cast.therapist)
    let_pass(browser, timedelta(minutes=14, seconds=50))
    assert is_in(browser)
    let_pass(browser, IDLE)
    page = browser.get(reverse("clients"))
    assert page.url == f"{reverse('sign-in')}?next={reverse('clients')}"


def began(browser: Browser, ago: timedelta) -> None:
    """As if the sign-in had been so long ago, and the session changed just now."""
    session = browser.session
    session[PLACE] |= {"at": (timezone.now() - ago).isoformat()}
    session.save()


def test_however_busy_a_person_is_they_sign_in_again_after_ten_hours(cast: Cast) -> None:
    browser = signed_in(cast.front_desk)
    began(browser, timedelta(hours=9, minutes=59))
    left = browser.get(reverse("sign-in-again"), headers=BACKGROUND).json()["left_s"]
    assert left == pytest.approx(60, abs=5)
    assert is_in(browser)
    began(browser, timedelta(hours=10, seconds=1))
    assert not sign_ins_of(cast.front_desk)
    late = browser.post(reverse("client-new"), {"given_name": "Ida"})
    assert late.url.startswith(reverse("sign-in"))
    back = browser.post(late.url, {"username": "dora", "password": PASSWORD})
    assert "Ida" in browser.get(back.url).text


@pytest.mark.parametrize("header", [BACKGROUND, {"HX-Request": "true"}])
def test_what_a_page_asks_on_its_own_is_no_sign_of_life(cast: Cast, header: dict[str, str]) -> None:
    browser = signed_in(cast.therapist)
    let_pass(browser, timedelta(minutes=14))
    assert browser.get(reverse("today"), headers=header).status_code == 200
    left = browser.get(reverse("sign-in-again"), headers=BACKGROUND).json()["left_s"]
    assert left == pytest.approx(60, abs=5)
    assert browser.get(reverse("still-here")).status_code == 204
    left = browser.get(reverse("sign-in-again"), headers=BACKGROUND).json()["left_s"]
    assert left == pytest.approx(900, abs=5)


def test_a_busy_person_costs_no_write_a_page(cast: Cast, django_assert_num_queries: Any) -> None:
    browser = signed_in(cast.therapist)
    with django_assert_num_queries(2):  # the session, the person
        browser.get(reverse("still-here"))


def test_what_was_sent_too_late_is_given_back_to_the_same_person(cast: Cast) -> None:
    browser = signed_in(cast.front_desk)
    let_pass(browser, IDLE)
    typed = {"given_name": "Ida", "family_name": "Kept & <typed>"}
    late = browser.post(reverse("client-new"), typed)
    assert late.url.startswith(reverse("sign-in"))
    assert "Kept" not in browser.get(late.url).text
    back = browser.post(late.url, {"username": "dora", "password": PASSWORD})
    page = browser.get(back.url).text
    assert f'action="{reverse("client-new")}"' in page
    assert "Kept &amp; &lt;typed&gt;</textarea>" in page
    assert browser.get(reverse("kept-form")).url == reverse("today")


def test_another_person_gets_neither_the_page_nor_what_was_typed(cast: Cast) -> None:
    browser = signed_in(cast.therapist)
    let_pass(browser, IDLE)
    late = browser.post(reverse("client-new"), {"given_name": "Ida"})
    back = browser.post(late.url, {"username": "dora", "password": PASSWORD})
    assert back.url == reverse("today")
    assert browser.get(reverse("kept-form")).url == reverse("today")


@pytest.mark.parametrize(
    ("address", "name"),
    [
        (reverse_lazy("choose-password"), "password"),
        (reverse_lazy("recovery-codes"), "password_now"),
        (reverse_lazy("mail-agreement", args=[UUID(int=1)]), "passphrase"),
    ],
)
def test_a_password_sent_too_late_is_not_kept(cast: Cast, address: str, name: str) -> None:
    browser = signed_in(cast.therapist)
    let_pass(browser, IDLE)
    late = browser.post(address, {name: "not to be kept anywhere"})
    back = browser.post(late.url, {"username": "theo", "password": PASSWORD})
    assert back.url == address
    assert "kept" not in browser.session


def forms_below(kind: type) -> Iterator[type]:
    for form in kind.__subclasses__():
        yield form
        yield from forms_below(form)


def test_every_form_that_asks_for_a_password_is_one_that_is_never_kept() -> None:
    import_module("clinic.urls")  # and with it every form there is
    asking = {}
    for form in forms_below(BaseForm):
        fields = getattr(form, "base_fields", {})  # not of the library's own base classes
        is_ours = not form.__module__.startswith("django.")
        if is_ours and any(isinstance(field.widget, PasswordInput) for field in fields.values()):
            asking[form] = " ".join(fields)
    assert SignInForm in asking
    assert not [form for form, names in asking.items() if not any(word in names for word in SECRET)]


def test_a_chosen_file_that_was_sent_too_late_is_to_be_chosen_again(cast: Cast) -> None:
    browser = signed_in(cast.lead)
    let_pass(browser, IDLE)
    typed = {"file": SimpleUploadedFile("clients.csv", b"a,b")}
    late = browser.post(reverse("exchange-import", args=["clients"]), typed)
    back = browser.post(late.url, {"username": "leona", "password": PASSWORD})
    page = browser.get(back.url).text
    assert "A chosen file is not: open the page again and choose it." in page
    assert f'href="{reverse("exchange-import", args=["clients"])}"' in page
    assert "Send it again" not in page


def test_signing_in_without_leaving_the_page_answers_a_script(cast: Cast) -> None:
    browser = signed_in(cast.therapist)
    let_pass(browser, IDLE)
    address = reverse("sign-in-again")
    assert browser.get(address, headers=BACKGROUND).json()["state"] == "out"
    typed = {"username": "theo", "password": "wrong"}
    wrong = browser.post(address, typed, headers=BACKGROUND).json()
    assert (wrong["state"], "do not belong" in wrong["said"]) == ("no", True)
    right = browser.post(address, typed | {"password": PASSWORD}, headers=BACKGROUND).json()
    assert (right["state"], right["person"]) == ("in", cast.therapist.pk)
    assert is_in(browser)


def test_signing_out_ends_the_session_in_the_database(cast: Cast) -> None:
    browser = signed_in(cast.therapist)
    browser.post(reverse("sign-out"))
    assert not SignedIn.objects.filter(user=cast.therapist).exists()


def test_the_key_of_a_session_changes_at_sign_in(client: Browser, cast: Cast) -> None:
    session = client.session
    session["seen"] = "before"
    session.save()
    before = session.session_key
    client.post(reverse("sign-in"), {"username": "theo", "password": PASSWORD})
    assert client.session.session_key != before
    assert not SignedIn.objects.filter(session_key=before).exists()


def test_a_session_whose_time_is_over_does_not_lie_about_with_what_it_kept(cast: Cast) -> None:
    browser = signed_in(cast.front_desk)
    let_pass(browser, IDLE)
    browser.post(reverse("client-new"), {"given_name": "Ida"})
    SignedIn.objects.update(expire_date=timezone.now())
    signed_in(cast.therapist)
    assert not SignedIn.objects.exclude(user=cast.therapist).exists()


def test_what_was_done_to_an_account_cannot_be_changed(cast: Cast, lead: Browser) -> None:
    lead.post(reverse("staff-unlock", args=[cast.therapist.pk]))
    with pytest.raises(ProgrammingError), transaction.atomic():
        AccountEvent.objects.update(verb="unlocked")


def test_the_command_resets_the_second_step_of_a_lead_locked_out(cast: Cast) -> None:
    SecondFactor.objects.create(user=cast.lead, name="app", secret_sealed="lost with the phone")
    call_command("reset_second_step", "leona", stdout=StringIO())
    assert not SecondFactor.objects.exists()
    event = AccountEvent.objects.get(verb="second_factor_reset")
    assert (event.about, event.by) == (cast.lead, None)

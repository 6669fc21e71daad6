"""The second step of a sign-in: set up, asked, refused, reset."""

import re
import time
from base64 import b32decode
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django_otp.oath import hotp

from clinic.accounts import access, second_step
from clinic.accounts.access import AccountEvent, RecoveryCode, SecondFactor, SignedIn
from clinic.accounts.models import User
from clinic.accounts.secrets_kept import opened, sealed
from tests.cast import PASSWORD, Cast

pytestmark = pytest.mark.django_db

# RFC 6238, appendix B: SHA-1, the secret "12345678901234567890"; of its eight digits an app that
# shows six shows the last six.
RFC_SECRET = b"12345678901234567890"
RFC_6238_APPENDIX_B = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]
NOW = 1_900_000_000


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    def at(moment: float) -> None:
        monkeypatch.setattr(access.time, "time", lambda: moment)

    return at


def code_of(secret: bytes, moment: float) -> str:
    return f"{hotp(secret, int(moment) // 30):06d}"


def set_up(user: User) -> list[str]:
    moment = time.time()
    return second_step.set_up(
        user=user,
        secret_sealed=sealed(RFC_SECRET),
        code=code_of(RFC_SECRET, moment),
        session_key=None,
    )


def give_password(browser: Browser, name: str = "theo") -> Any:
    return browser.post(reverse("sign-in"), {"username": name, "password": PASSWORD})


def give_code(browser: Browser, code: str) -> Any:
    return browser.post(reverse("sign-in-code"), {"code": code})


@pytest.mark.parametrize(("moment", "eight_digits"), RFC_6238_APPENDIX_B)
def test_codes_are_those_of_rfc_6238(
    clock: Callable[[float], None], moment: int, eight_digits: str
) -> None:
    clock(moment)
    assert access.step_of(RFC_SECRET, eight_digits[-6:]) == moment // 30


def test_a_code_is_good_one_step_early_or_late_and_no_more(clock: Callable[[float], None]) -> None:
    clock(NOW)
    taken = [
        off
        for off in range(-3, 4)
        if access.step_of(RFC_SECRET, code_of(RFC_SECRET, NOW + 30 * off))
    ]
    assert taken == [-1, 0, 1]


def test_the_page_sets_it_up_with_one_code_and_shows_ten_codes_once(
    therapist: Browser, cast: Cast
) -> None:
    page = therapist.get(reverse("second-factor")).text
    assert "data:image/svg+xml" in page
    assert "style=" not in page.split("<main")[1]
    key = re.search(r'class="secret">([A-Z2-7 ]+)<', page)[1].replace(" ", "")  # type: ignore[index]
    wrong = therapist.post(reverse("second-factor"), {"code": "000000"})
    assert "not the code the app shows" in wrong.text
    assert key in wrong.text.replace(" ", "")
    code = code_of(b32decode(key), time.time())
    shown = therapist.post(reverse("second-factor"), {"code": f"{code[:3]} {code[3:]}"}).text
    codes = re.findall(r"<li>([a-z0-9]{5}-[a-z0-9]{5})</li>", shown)
    assert len(set(codes)) == 10
    assert codes[0] not in therapist.get(reverse("account")).text
    assert therapist.get(reverse("today")).status_code == 200


def test_neither_the_secret_nor_a_recovery_code_lies_readable_in_the_database(cast: Cast) -> None:
    codes = set_up(cast.therapist)
    kept = SecondFactor.objects.get().secret_sealed
    assert opened(kept) == RFC_SECRET
    for form in (RFC_SECRET, RFC_SECRET.hex().encode(), second_step.secret_words(kept).encode()):
        assert form not in kept.encode()
    hashes = " ".join(RecoveryCode.objects.values_list("hashed", flat=True))
    assert not [code for code in codes if second_step.plain(code) in hashes or code in hashes]


def test_after_the_password_the_code_is_asked_and_only_then_a_page_is_shown(
    client: Browser, cast: Cast, clock: Callable[[float], None]
) -> None:
    set_up(cast.therapist)
    wanted = reverse("clients")
    answer = client.post(
        f"{reverse('sign-in')}?next={wanted}", {"username": "theo", "password": PASSWORD}
    )
    assert answer.url == reverse("sign-in-code")
    assert client.get(wanted).url.startswith(reverse("sign-in"))
    page = client.get(answer.url).text
    assert 'autocomplete="one-time-code"' in page
    clock(time.time() + 60)
    key_before = client.session.session_key
    assert give_code(client, code_of(RFC_SECRET, access.time.time())).url == wanted
    assert client.session.session_key != key_before
    assert client.get(wanted).status_code == 200


def test_a_code_works_once(client: Browser, cast: Cast, clock: Callable[[float], None]) -> None:
    set_up(cast.therapist)
    later = time.time() + 60
    clock(later)
    assert second_step.use_code(user=cast.therapist, code=code_of(RFC_SECRET, later)).is_right
    give_password(client)
    again = give_code(client, code_of(RFC_SECRET, later))
    assert "does not fit, or was used before" in again.text
    assert "check that the phone sets its clock by itself" in again.text


def test_wrong_codes_cost_waiting_and_the_right_one_is_not_looked_at_meanwhile(
    client: Browser, cast: Cast, clock: Callable[[float], None]
) -> None:
    set_up(cast.therapist)
    give_password(client)
    for _ in range(3):
        SecondFactor.objects.update(throttling_failure_timestamp=None)
        assert "does not fit" in give_code(client, "111111").text
    clock(time.time() + 60)
    waiting = give_code(client, code_of(RFC_SECRET, access.time.time()))
    assert re.search(r"Too many wrong codes. Wait [1-4] seconds?", waiting.text)


def test_a_hundred_wrong_codes_in_a_row_need_the_lead(cast: Cast, lead: Browser) -> None:
    """NIST SP 800-63B rev. 4, 3.2.2: no more than 100 consecutive failures."""
    set_up(cast.therapist)
    SecondFactor.objects.update(throttling_failure_count=100)
    right = code_of(RFC_SECRET, time.time() + 30)
    assert not second_step.use_code(user=cast.therapist, code=right).is_right
    address = reverse("staff-unlock", args=[cast.therapist.pk])
    assert address in lead.get(reverse("staff-edit", args=[cast.therapist.pk])).text
    lead.post(address)
    assert address not in lead.get(reverse("staff-edit", args=[cast.therapist.pk])).text
    assert second_step.use_code(user=cast.therapist, code=right).is_right


def test_a_recovery_code_works_once_and_is_noted(client: Browser, cast: Cast) -> None:
    codes = set_up(cast.therapist)
    give_password(client)
    assert give_code(client, codes[3].upper().replace("-", " ")).url == reverse("today")
    client.post(reverse("sign-out"))
    give_password(client)
    assert "does not fit" in give_code(client, codes[3]).text
    assert AccountEvent.objects.filter(verb="code_used", about=cast.therapist).exists()


def test_the_code_page_alone_opens_nothing(client: Browser, cast: Cast) -> None:
    set_up(cast.therapist)
    right = code_of(RFC_SECRET, time.time() + 30)
    assert give_code(client, right).url == reverse("sign-in")
    give_password(client)
    cast.therapist.set_password("another password by now")
    cast.therapist.save()
    assert give_code(client, right).url == reverse("sign-in")


@pytest.mark.parametrize("who", ["therapist", "lead"])
def test_where_it_is_required_a_clinical_role_sets_it_up_before_anything_else(
    request: pytest.FixtureRequest, settings: Any, who: str
) -> None:
    settings.SECOND_FACTOR_REQUIRED = True
    browser: Browser = request.getfixturevalue(who)
    assert browser.get(reverse("today")).url == reverse("second-factor")
    assert browser.post(reverse("clients"), {"words": "x"}).url == reverse("second-factor")
    page = browser.get(reverse("second-factor")).text
    assert "Your role reads clinical records" in page
    assert ">Cancel<" not in page  # it led back to this very page


def test_where_it_is_required_the_front_desk_may_work_without(desk: Browser, settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = True
    assert desk.get(reverse("today")).status_code == 200


def test_where_it_is_required_nobody_of_the_role_turns_it_off(
    therapist: Browser, cast: Cast, settings: Any
) -> None:
    set_up(cast.therapist)
    settings.SECOND_FACTOR_REQUIRED = True
    therapist = Browser()
    therapist.force_login(cast.therapist)
    therapist.post(reverse("second-factor-off"), {"password_now": PASSWORD})
    assert SecondFactor.objects.filter(user=cast.therapist).exists()


def test_turning_it_off_and_new_codes_ask_for_the_password(therapist: Browser, cast: Cast) -> None:
    set_up(cast.therapist)
    therapist.force_login(cast.therapist)
    before = set(RecoveryCode.objects.values_list("hashed", flat=True))
    for name in ("recovery-codes", "second-factor-off"):
        assert "not your password" in therapist.post(reverse(name), {"password_now": "guess"}).text
    assert set(RecoveryCode.objects.values_list("hashed", flat=True)) == before
    assert (
        "shown this once"
        in therapist.post(reverse("recovery-codes"), {"password_now": PASSWORD}).text
    )
    assert not before & set(RecoveryCode.objects.values_list("hashed", flat=True))
    off = therapist.post(reverse("second-factor-off"), {"password_now": PASSWORD})
    assert off.url == reverse("choose-password")
    assert not SecondFactor.objects.exists()


def test_the_lead_resets_a_colleagues_and_they_are_signed_out_and_it_is_noted(
    lead: Browser, therapist: Browser, cast: Cast
) -> None:
    set_up(cast.therapist)
    address = reverse("staff-second-factor-reset", args=[cast.therapist.pk])
    assert "only when you are sure who asks" in lead.get(address).text
    lead.post(address)
    assert not SecondFactor.objects.filter(user=cast.therapist).exists()
    assert not RecoveryCode.objects.filter(user=cast.therapist).exists()
    assert not SignedIn.objects.filter(user=cast.therapist).exists()
    event = AccountEvent.objects.get(verb="second_factor_reset")
    assert (event.about, event.by) == (cast.therapist, cast.lead)
    page = lead.get(reverse("staff-edit", args=[cast.therapist.pk])).text
    assert "Leona Vale reset the second step" in page


def test_the_lead_cannot_reset_their_own(lead: Browser, cast: Cast) -> None:
    address = reverse("staff-second-factor-reset", args=[cast.lead.pk])
    assert lead.post(address).status_code == 404


def test_under_another_key_of_the_app_no_code_fits(cast: Cast, settings: Any) -> None:
    set_up(cast.therapist)
    settings.SECRET_KEY = "another key of fifty characters or more, made up for this"
    right = code_of(RFC_SECRET, time.time() + 30)
    assert not second_step.use_code(user=cast.therapist, code=right).is_right

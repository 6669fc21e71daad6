"""Nobody real: numbers and addresses come from ranges that are set aside for fiction."""

import re
from collections.abc import Iterator

from clinic.demo import scenario

# US: 555-0100 to 555-0199, North American Numbering Plan; UK: 020 7946 0000 to 0999, Ofcom,
# "Telephone numbers for use in TV and radio drama programmes"; both from memory, not re-read.
FICTION = re.compile(r"207-555-01\d\d|020 7946 0\d{3}")

# RFC 2606, section 3: second-level names reserved for examples.
RESERVED = re.compile(r"[^@\s]+@([a-z-]+\.)*example\.(org|com|net)")

# No US ZIP code begins with 000 (USPS L002 begins at 005).
NOWHERE = re.compile(r"[A-Za-z ]+, ME 000\d\d|London")


def people() -> Iterator[dict[str, str]]:
    told = scenario.clinic()
    yield told["practice"]
    yield from told["referrers"].values()
    yield from (story.client for story in scenario.stories())


def said(key: str) -> list[str]:
    return [person[key] for person in people() if person.get(key)]


def test_every_phone_and_fax_number_is_set_aside_for_fiction() -> None:
    numbers = [*said("phone"), *said("fax")]
    assert len(numbers) > 50
    assert not [number for number in numbers if not FICTION.fullmatch(number)]
    assert len(set(numbers)) == len(numbers)


def test_every_e_mail_address_ends_in_a_reserved_name() -> None:
    addresses = said("email")
    assert len(addresses) > 20
    assert not [address for address in addresses if not RESERVED.fullmatch(address)]


def test_every_town_has_a_postcode_that_is_not_given_out() -> None:
    assert not [town for town in said("town") if not NOWHERE.fullmatch(town)]


def test_no_number_hides_in_a_text() -> None:
    for story in scenario.stories():
        texts = [story.tells, story.episode.get("referral_reason", "")]
        texts += [each.get("note", "") for each in (*story.treatments, *story.precautions)]
        assert not re.search(r"\d{3}[- ]\d{4}|@", " ".join(texts)), story.name


def test_names_and_stories_are_told_once() -> None:
    stories = scenario.stories()
    names = [(each.client["given_name"], each.client["family_name"]) for each in stories]
    assert len(set(names)) == len({each.name for each in stories}) == len(stories)
    assert all(story.tells for story in stories)


def test_records_have_accents_of_many_alphabets() -> None:
    letters = {letter for name in said("family_name") for letter in name if ord(letter) > 127}
    assert len(letters) > 8

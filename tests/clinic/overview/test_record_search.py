"""The clinic lead's search of the access and change record."""

import csv
import re
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from clinic.audit import services as audit
from clinic.audit.models import Entry
from clinic.audit.sentences import LOOKS, SENTENCES
from clinic.clients.models import Client
from clinic.overview.record_page import lines_of
from clinic.overview.record_search import Asked, Worth, found, matching
from clinic.scheduling.staff_time import WorkingHours
from measurements.models import GirthSession
from measurements.services.record import set_baseline
from tests.builders import make_client, make_episode, make_protocol, make_session
from tests.cast import Cast
from tests.clinic.audit.test_chain import as_at_commit, tamper

pytestmark = pytest.mark.django_db

ASKED = {"many": "30", "order": "latest"}


def record_at(moment: datetime, by: object, verb: str, client: object = None) -> None:
    Entry.objects.bulk_create([Entry(by=by, verb=verb, client=client)])  # type: ignore[misc]
    entry = Entry.objects.latest("pk")
    as_at_commit()
    tamper(f"UPDATE audit_entry SET at = '{moment.isoformat()}' WHERE id = {entry.pk}")


def verbs(asked: Asked, cast: Cast) -> list[str]:
    return [entry.verb for entry in matching(asked, user=cast.lead)]


def local(day_offset: int, at: time) -> datetime:
    day = timezone.localdate() + timedelta(days=day_offset)
    return timezone.make_aware(datetime.combine(day, at))


def test_each_filter_narrows(cast: Cast) -> None:
    anna, berta = make_client(family_name="Alder"), make_client(family_name="Birch")
    audit.record(cast.therapist, "client.opened", client=anna, subject=anna)
    audit.record(cast.front_desk, "client.edited", client=berta, subject=berta)
    assert verbs(Asked(by=cast.therapist), cast) == ["client.opened"]
    assert verbs(Asked(client="birch"), cast) == ["client.edited"]
    assert verbs(Asked(client=anna.record_number), cast) == ["client.opened"]
    assert verbs(Asked(action="looks"), cast) == ["client.opened"]
    assert verbs(Asked(action="changes"), cast) == ["client.edited"]
    assert verbs(Asked(action="client.edited"), cast) == ["client.edited"]
    assert verbs(Asked(subject=str(berta.pk)), cast) == ["client.edited"]
    assert len(verbs(Asked(came_from="comm"), cast)) == 2
    assert not verbs(Asked(came_from="192."), cast)
    today = timezone.localdate()
    assert len(verbs(Asked(from_on=today, to_on=today), cast)) == 2
    assert not verbs(Asked(to_on=today - timedelta(days=1)), cast)


def test_looks_outside_working_hours(cast: Cast) -> None:
    day = timezone.localdate() - timedelta(days=1)
    WorkingHours.objects.create(
        therapist=cast.therapist, weekday=day.weekday(), from_time="08:00", to_time="17:00"
    )
    record_at(local(-1, time(9)), cast.therapist, "client.opened")
    record_at(local(-1, time(22)), cast.therapist, "note.seen")
    record_at(local(-2, time(9)), cast.therapist, "girths.seen")
    assert verbs(Asked(worth=Worth.OUTSIDE_HOURS), cast) == ["note.seen", "girths.seen"]


def test_looks_by_clinical_staff_who_never_treat_the_client(cast: Cast) -> None:
    person = make_client()
    make_episode(person, cast.therapist)
    for by in (cast.therapist, cast.other_therapist, cast.front_desk):
        audit.record(by, "client.opened", client=person)
    strangers = matching(Asked(worth=Worth.NEVER_TREATED), user=cast.lead)
    assert [entry.by for entry in strangers] == [cast.other_therapist]


def test_people_who_opened_many_clients_in_a_day(cast: Cast) -> None:
    people = [make_client() for _ in range(3)]
    for person in people:
        audit.record(cast.front_desk, "client.opened", client=person)
        audit.record(cast.therapist, "client.opened", client=people[0])
    many = matching(Asked(worth=Worth.MANY_IN_A_DAY, many=3), user=cast.lead)
    assert {entry.by for entry in many} == {cast.front_desk}


def test_a_day_with_too_few_clients_is_not_shown_beside_one_with_many(cast: Cast) -> None:
    people = [make_client() for _ in range(3)]
    for person in people:
        record_at(local(-1, time(9)), cast.front_desk, "client.opened", person)
    record_at(local(-2, time(9)), cast.front_desk, "note.seen", people[0])
    asked = Asked(worth=Worth.MANY_IN_A_DAY, many=3)
    assert verbs(asked, cast) == ["client.opened"] * 3


@pytest.mark.parametrize("worth", [Worth.OUTSIDE_HOURS, Worth.MANY_IN_A_DAY])
def test_what_is_worked_out_goes_back_90_days_unless_a_first_day_is_given(
    cast: Cast, worth: Worth
) -> None:
    person = make_client()
    for days_ago, verb in ((89, "client.opened"), (90, "note.seen"), (200, "girths.seen")):
        record_at(local(-days_ago, time(22)), cast.front_desk, verb, person)
    asked, today = Asked(worth=worth, many=1), timezone.localdate()
    assert verbs(asked, cast) == ["client.opened"]
    assert asked.usual_from_on == today - timedelta(days=89)
    until = replace(asked, to_on=today - timedelta(days=90))
    assert verbs(until, cast) == ["note.seen"]
    since = replace(asked, from_on=today - timedelta(days=200))
    assert verbs(since, cast) == ["client.opened", "note.seen", "girths.seen"]
    assert since.usual_from_on is None


def test_the_page_says_how_far_back_it_looked_and_prints_what_was_asked(lead: Browser) -> None:
    page = lead.post(reverse("record"), ASKED | {"worth": "outside_hours"}).text
    first = timezone.localdate() - timedelta(days=89)
    assert f"Only from {date_format(first)} on" in page
    assert "worth a look outside working hours; sorted latest first." in page
    assert "Only from" not in lead.post(reverse("record"), ASKED | {"worth": "never_treated"}).text


def test_what_looks_and_what_changes_is_sorted_out() -> None:
    assert {"client.opened", "note.seen", "letter.printed", "access.searched"} <= LOOKS
    assert not {"episode.opened", "note.signed", "red_flag.seen", "client.edited"} & LOOKS
    assert SENTENCES.keys() >= LOOKS


def test_the_page_shows_lines_and_notes_the_search(lead: Browser, cast: Cast) -> None:
    person = make_client()
    audit.record(cast.therapist, "girths.recorded", client=person)
    page = lead.post(reverse("record"), ASKED | {"client": person.record_number}).text
    assert "recorded girths" in page
    assert "1 entry." in page
    assert Entry.objects.latest("pk").verb == "access.searched"
    assert lead.get(reverse("record")).status_code == 200
    assert lead.delete(reverse("record")).status_code == 405


def test_a_search_finds_what_was_recorded_of_records_merged_and_erased(
    lead: Browser, cast: Cast
) -> None:
    kept, other = make_client(family_name="Alder"), make_client(family_name="Aldous")
    gone = make_client(family_name="Birch")
    audit.record(cast.therapist, "note.seen", client=other)
    audit.record(cast.therapist, "girths.seen", client=gone)
    left = {"deactivated_at": timezone.now(), "deactivated_reason": "Gone."}
    Client.objects.filter(pk=other.pk).update(merged_into=kept, **left)
    Client.objects.filter(pk=gone.pk).update(erased_at=timezone.now(), **left)
    for words in ("Alder", "Aldous", other.record_number, kept.record_number):
        assert verbs(Asked(client=words), cast) == ["note.seen"], words
    assert verbs(Asked(client=gone.record_number), cast) == ["girths.seen"]
    for person, words in ((gone, "looked at girths"), (other, "looked at a visit note")):
        assert words in lead.get(reverse("client-history", args=[person.pk])).text
    page = lead.get(reverse("client", args=[gone.pk])).text
    assert reverse("client-history", args=[gone.pk]) in page


def test_a_name_that_many_share_finds_what_was_recorded_of_all(cast: Cast) -> None:
    for _ in range(30):
        audit.record(cast.therapist, "note.seen", client=make_client(family_name="Alder"))
    assert len(verbs(Asked(client="alder"), cast)) == 30
    assert not matching(Asked(client="alder"), user=cast.therapist)


def test_the_search_says_who_changed_the_baseline_and_what_it_was(
    lead: Browser, cast: Cast
) -> None:
    episode, protocol = make_episode(make_client(), cast.therapist), make_protocol()
    first, second = (
        make_session(episode, protocol, taken_on=date(2026, month, 5)) for month in (1, 2)
    )
    GirthSession.objects.filter(pk=first.pk).update(is_baseline=True)
    as_at_commit()
    set_baseline(session=second, by=cast.other_therapist)
    asked = {"client": "Ångström", "action": "baseline.set", "from_on": "1 Jan 2026"}
    page = " ".join(lead.post(reverse("record"), ASKED | asked).text.split())
    assert cast.other_therapist.display_name in page
    assert "arm girths of 5 Jan 2026)" in page
    assert "arm girths of 5 Feb 2026)" in page


def test_of_two_entries_in_one_transaction_each_has_what_it_changed(
    lead: Browser, cast: Cast
) -> None:
    person = make_client()
    episode = make_episode(person, cast.therapist)
    session = make_session(episode, make_protocol(), taken_on=date(2026, 2, 5))
    Client.objects.filter(pk=person.pk).update(phone="555 0100")
    GirthSession.objects.filter(pk=session.pk).update(is_baseline=True)
    audit.record(cast.front_desk, "client.edited", client=person, subject=person)
    audit.record(cast.therapist, "baseline.set", client=person, subject=session)
    as_at_commit()
    listed = lead.get(reverse("client-history", args=[person.pk]))
    told = {
        line.entry.verb: [words.what for words in line.changes] for line in listed.context["page"]
    }
    assert told["client.edited"] == ["client"]
    assert told["baseline.set"] == ["girth session (arm girths of 5 Feb 2026)"]
    searched = lines_of(Entry.objects.filter(client=person, verb="client.edited"))
    assert [words.what for line in searched for words in line.changes] == ["client"]


def test_the_search_says_who_edited_which_account_and_what_it_was(
    lead: Browser, cast: Cast
) -> None:
    edited = {"sign_in_name": "theo", "display_name": "Theo Marsh", "role": "clinic_lead"}
    address = reverse("staff-edit", args=[cast.therapist.pk])
    lead.post(address, edited | {"credentials": "PT, DPT", "needs_cosignature": "on"})
    (entry,) = Entry.objects.filter(verb="account.edited")
    assert (entry.by, entry.came_from) == (cast.lead, "127.0.0.1")
    as_at_commit()
    page = lead.post(reverse("record"), ASKED | {"action": "account.edited"}).text
    told = re.findall(r"<li>(.*?)</li>", page.split("edited a staff account")[-1])
    became = ' <span aria-hidden="true">→</span><span class="visually-hidden">became</span> '
    assert [line.replace(became, " > ") for line in told] == [
        "is active: yes > no",
        "notes need a co-signature: no > yes",
        "role: therapist > clinic lead",
    ]
    assert "account (Theo Marsh)" in page


def test_a_line_about_staff_says_whom_and_is_found_by_the_name(
    lead: Browser, cast: Cast, django_assert_num_queries: Any
) -> None:
    audit.record(cast.lead, "hours.set", subject=cast.therapist)
    audit.record(cast.lead, "hours.set", subject=cast.other_therapist)
    subject = '<div class="record-subject">'
    page = lead.post(reverse("record"), ASKED | {"subject": "marsh"}).text
    assert f"{subject}Theo Marsh, PT, DPT</div>" in page
    assert "Tilda Brook, OTR/L" not in page
    assert len(verbs(Asked(subject=f"user:{cast.therapist.pk}"), cast)) == 1
    answer = lead.post(reverse("record-file"), ASKED | {"action": "hours.set"})
    rows = list(csv.DictReader(b"".join(answer).decode("utf-8-sig").splitlines()))  # type: ignore[arg-type]
    assert [row["subject"] for row in rows] == ["Tilda Brook, OTR/L", "Theo Marsh, PT, DPT"]
    asked = Asked(action="hours.set")
    for _ in range(2):
        with django_assert_num_queries(4):  # count, lines, what they changed, staff
            found(asked, user=cast.lead, number=1)
        audit.record(cast.lead, "hours.set", subject=cast.front_desk)


def test_a_file_taken_out_is_a_look_and_no_change(cast: Cast) -> None:
    for verb in ("client.exported", "girths.taken_out", "letter.batch_taken_out"):
        audit.record(cast.lead, verb, client=make_client())
    assert len(verbs(Asked(action="looks"), cast)) == 3
    assert not verbs(Asked(action="changes"), cast)


def test_the_pages_of_a_history_are_named_by_time(lead: Browser, cast: Cast) -> None:
    person = make_client()
    audit.record_for_each(cast.therapist, "client.opened", clients=[person.pk] * 120)
    address = reverse("client-history", args=[person.pk])
    page = lead.get(address, {"page": "2"}).text
    assert '<a href="?page=1" rel="prev">Newer</a>' in page
    assert '<a href="?page=3" rel="next">Older</a>' in page


def test_bad_days_keep_what_was_typed(lead: Browser) -> None:
    page = lead.post(reverse("record"), ASKED | {"from_on": "yestermorn"}).text
    assert "yestermorn" in page
    assert "This is not a day" in page
    typed = {"from_on": "4 Mar 2026", "to_on": "3 Mar 2026"}
    assert "The last day is before the first." in lead.post(reverse("record"), ASKED | typed).text
    again = lead.post(reverse("record-file"), ASKED | typed).text
    assert "The last day is before the first." in again


def test_the_file_holds_every_line_and_is_noted(lead: Browser, cast: Cast) -> None:
    person = make_client()
    for _ in range(60):
        audit.record(cast.therapist, "client.opened", client=person, subject=person)
    answer = lead.post(reverse("record-file"), ASKED | {"action": "client.opened"})
    lines = b"".join(answer).decode("utf-8-sig").splitlines()  # type: ignore[arg-type]
    assert len(lines) == 61
    assert lines[0].startswith("when,who,role,what,client")
    assert "Theo Marsh,Therapist,opened the client page" in lines[1]
    assert Entry.objects.latest("pk").verb == "access.taken_out"
    assert lead.get(reverse("record-file")).status_code == 405


def test_a_page_takes_the_same_queries_however_many_lines(
    cast: Cast, django_assert_num_queries: object
) -> None:
    for n in range(3):
        audit.record_for_each(cast.therapist, "client.opened", clients=[make_client().pk] * 40 * n)
        with django_assert_num_queries(2 if n else 1):  # type: ignore[operator]
            found(Asked(), user=cast.lead, number=1)

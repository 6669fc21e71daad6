"""The client's own copy tells of every kind of row that hangs on a client, or says why not."""

import re
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from html import unescape
from typing import Any

import pgtrigger
import pytest
from django.db.models import Model
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.html import strip_tags
from psycopg.types.range import TimestamptzRange

from clinic.audit.models import Entry
from clinic.clients.emergency_services import open_emergency
from clinic.clients.models import Client, Episode
from clinic.clients.record_requests import CopyRequest, CorrectionRequest
from clinic.exchange.selectors.own_record import own_copy
from clinic.keeping.models import Erasure, Merge
from clinic.letters.models import ProgressLetter
from clinic.letters.sending.models import Batch, Sending
from clinic.scheduling.models import (
    Authorisation,
    RecallSnooze,
    ReminderConsent,
    WaitListEntry,
    WaitListOffer,
)
from clinic.scheduling.staff_time import AppointmentKind
from clinic.visits.models import VisitNote
from measurements.models import OutcomeScore
from programmes.garments import BandageLayer, BandageRecord, FitCheck
from programmes.models import AdherenceRecord, Garment, PrecautionReview
from tests.builders import make_client, make_episode
from tests.cast import Cast
from tests.clinic.exchange.stories import whole_record
from tests.clinic.visits import charting

pytestmark = pytest.mark.django_db

DAY = date(2026, 2, 3)
# By table: words that tell of a row in the copy of `everything_asked`.
TOLD = {
    "clients_copyrequest": "photo card seen",
    "clients_correctionrequest": "The street is wrong.",
    "clients_emergencyaccess": "Fainted at the desk.",
    "clients_episode": "Heaviness of the right arm.",
    "clients_affectedregion": "right breast (at risk)",
    "clients_phasechange": "Phases",
    "clients_surgery": "right mastectomy",
    "clients_nodesurgery": "(14 nodes)",
    "clients_irradiation": "radiation, right",
    "clients_drugtreatment": "hormone",
    "clients_precautionfound": "found on 5 Jan 2026",
    "programmes_precautionreview": "Asked on the phone.",
    "scheduling_authorisation": "Lakeside Mutual",
    "scheduling_appointment": "3 Feb 2026",
    "scheduling_waitlistentry": "Mornings only.",
    "scheduling_waitlistoffer": "declined",
    "scheduling_recallsnooze": "Away at sea.",
    "scheduling_reminderconsent": "By phone, agreed on 3 Feb 2026",
    "measurements_girthsession": "5 January 2026",
    "measurements_girthreading": "From the",
    "measurements_endreading": "figure of eight",
    "measurements_limbfindings": "stage II",
    "measurements_outcomescore": "carry the shopping",
    "programmes_garment": "Garments",
    "programmes_fitcheck": "Cuts in at the wrist.",
    "programmes_bandagerecord": "Bandaged sitting.",
    "programmes_bandagelayer": "short stretch, 8 cm wide",
    "programmes_programme": "Version 1, given on",
    "programmes_adherencerecord": "hard: Right armpit",
    "visits_planofcare": "Drainage, bandaging, exercise.",
    "visits_goal": "Lifts the arm",
    "visits_goalreview": "1 Mar 2026: met",
    "visits_visitnote": "Visit notes",
    "visits_treatmententry": "40 min",
    "visits_addendum": "Bandage changed at home.",
    "letters_progressletter": "Letters and reports",
    "letters_sending": "Sent by post on",
}
NOT_TOLD = {
    "measurements_keptstanding": "computed from the girths, which are told",
    "measurements_girthdraft": "a draft",
    "programmes_stepsbefore": "how a draft stood before",
    "visits_setaside": "a draft",
    "visits_progressreported": "until when a report was written; the report itself is told",
    "visits_redflagseen": "in the note, of which it is a part",
    "letters_runletter": "the practice's list of a month; the letter itself is told",
    "scheduling_series": "booked as appointments, which are told",
    "scheduling_statuschange": "the appointment tells the state that it came to",
    # 45 CFR 164.524(a)(1)(ii): what is compiled in anticipation of an action. [memory]
    "keeping_hold": "why the practice may not erase the record",
    "scheduling_recallschedule": "when the practice means to measure again",
}


def tables_of_a_client() -> Iterator[type[Model]]:
    seen: set[type[Model]] = {Client, Entry, Erasure, Merge}
    waiting: list[type[Model]] = [Client]
    while waiting:
        for relation in waiting.pop()._meta.get_fields(include_hidden=True):
            model: Any = relation.related_model
            if relation.auto_created and not relation.concrete and model not in seen:
                seen.add(model)
                waiting.append(model)
                yield model


def test_every_table_of_a_client_is_told_or_says_why_not() -> None:
    tables = {model._meta.db_table for model in tables_of_a_client()}
    assert tables == TOLD.keys() | NOT_TOLD.keys()


@pytest.fixture
def asked(cast: Cast) -> CopyRequest:
    """One of everything, and a copy asked for."""
    client = whole_record(cast)
    episode = client.episodes.get()
    _sealed(charting.signed(cast.therapist, episode))
    _desk(client, cast)
    _care(episode, cast)
    open_emergency(client=client, reason="Fainted at the desk.", by=cast.front_desk)
    noted = {"client": client, "asked_on": DAY, "asked_by": "the client", "noted_by": cast.lead}
    CorrectionRequest.objects.create(
        **noted, claimed_wrong="The street is wrong.", wished="Write 2 Mill Lane."
    )
    return CopyRequest.objects.create(**noted, identity="photo card seen")


def _sealed(note: VisitNote) -> None:
    """The story's note was not signed by the service: it says what one that was says."""
    with pgtrigger.ignore("visits.VisitNote:signed_note_stays"):
        VisitNote.objects.filter(signed={}).update(signed=note.signed, seal=note.seal)


def _desk(client: Client, cast: Cast) -> None:
    by, now = cast.front_desk, timezone.now()
    Authorisation.objects.create(
        client=client,
        payer="Lakeside Mutual",
        number="A-77",
        from_on=DAY,
        to_on=DAY,
        visits=8,
        recorded_by=by,
    )
    waits = WaitListEntry.objects.create(
        client=client,
        kind=AppointmentKind.objects.first(),
        minutes=60,
        note="Mornings only.",
        joined_by=by,
    )
    WaitListOffer.objects.create(
        entry=waits,
        therapist=cast.therapist,
        period=TimestamptzRange(now, now + timedelta(hours=1)),
        answer="declined",
        offered_by=by,
    )
    RecallSnooze.objects.create(
        client=client, recall="remeasurement", until_on=DAY, reason="Away at sea.", by=by
    )
    ReminderConsent.objects.create(client=client, channel="phone", agreed_on=DAY, by=by)
    PrecautionReview.objects.create(
        client=client,
        asked_on=DAY,
        asked=["acute_clot"],
        found=["acute_clot"],
        note="Asked on the phone.",
        asked_by=cast.therapist,
    )


def _care(episode: Episode, cast: Cast) -> None:
    by = cast.therapist
    OutcomeScore.objects.create(
        episode=episode,
        instrument="function",
        scored_on=DAY,
        score=4,
        activities=["carry the shopping"],
        items=[Decimal(4)],
        scored_by=by,
    )
    FitCheck.objects.create(
        garment=Garment.objects.get(),
        checked_on=DAY,
        verdict="alter",
        note="Cuts in at the wrist.",
        checked_by=by,
    )
    bandaged = BandageRecord.objects.create(
        episode=episode,
        limb="arm",
        side="right",
        applied_on=DAY,
        note="Bandaged sitting.",
        applied_by=by,
    )
    BandageLayer.objects.create(
        record=bandaged, order=1, material="short stretch", width_cm=8, tension_kgf=1, layers=1
    )
    AdherenceRecord.objects.update(hard_steps=[{"number": 1, "place": "Right armpit"}])


def _sent(letter: ProgressLetter, cast: Cast) -> None:
    now = timezone.now()
    batch = Batch.objects.create(
        output="print", paper_size="letter", made_by=cast.lead, made_at=now
    )
    Sending.objects.create(
        batch=batch,
        letter=letter,
        referrer=letter.referrer,
        place=1,
        way="post",
        addressee="Dr. Odile Farrow",
        sent_at=now,
        sent_by=cast.lead,
    )


def words_of(asked: CopyRequest) -> str:
    page = render_to_string("exchange/own_copy_print.html", {"copy": own_copy(asked)})
    return " ".join(unescape(strip_tags(page)).split())


def test_the_copy_tells_of_every_table(asked: CopyRequest, cast: Cast) -> None:
    _sent(ProgressLetter.objects.get(), cast)
    said = words_of(asked)
    assert [table for table, words in TOLD.items() if words not in said] == []


def test_scores_carry_their_units(asked: CopyRequest) -> None:
    said = words_of(asked)
    for words in ("21.5 kg", "140°", "412 mL"):
        assert words in said


def test_drafts_and_other_clients_stay_out_of_the_copy(asked: CopyRequest, cast: Cast) -> None:
    other = make_client(given_name="Ivo", family_name="Elsewhere")
    charting.signed(cast.therapist, make_episode(other, cast.therapist))
    assert VisitNote.objects.filter(subjective="A draft stays here.").exists()
    said = words_of(asked)
    for words in ("A draft stays here.", "Otherwise", "Elsewhere"):
        assert words not in said


def test_a_letter_approved_and_not_sent_is_not_called_sent(asked: CopyRequest) -> None:
    said = words_of(asked)
    assert "Not sent." in said
    assert "Sent by post" not in said


def test_the_error_beside_a_volume_is_that_of_one_taping(asked: CopyRequest) -> None:
    """1.96 standard errors hold one taping; two differ by up to sqrt(2) times that.

    Bland and Altman, BMJ 1996;313:744: within-subject SD, repeatability 2.77 of it [memory].
    """
    report = own_copy(asked).episodes[0].reports[0]
    assert report.right
    assert report.right_margin_ml == pytest.approx(1.96 * report.right.error_ml)
    said = words_of(asked)
    assert "a single taping lies no further than that from the average of many" in said
    assert "taped again" not in said


def test_a_difference_is_told_with_its_sign_and_a_request_with_who_asked(
    asked: CopyRequest,
) -> None:
    said = words_of(asked)
    assert re.search(r"compared with the other side: [+−]\d+ mL ± \d+ mL \([+−][\d.]+ %\)", said)
    assert "3 Feb 2026, by the client: The street is wrong. Asked for: Write 2 Mill Lane." in said


def test_sentences_of_a_plan_and_a_note_end_once(asked: CopyRequest) -> None:
    said = words_of(asked)
    assert "Lifts the arm (by 5 Apr 2026)" in said
    assert "Expected outcome: Good. Signed by" in said
    assert ".;" not in said

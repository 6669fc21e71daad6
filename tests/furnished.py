"""The demo's clinic with one of everything, and the address of every page in it.

A new address needs nothing here, unless it names a kind of record that none named before: then one
line in `ONE_OF`; `addresses` fails on the part that has none.
"""

from typing import Any

from django.db import connection
from django.db.models import Model
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils.timezone import now

from clinic.accounts.models import SavedView
from clinic.clients.emergency_services import open_emergency
from clinic.clients.models import AffectedRegion, Episode, NodeSurgery, PrecautionFound, Referrer
from clinic.clients.record_requests import CopyRequest, CorrectionRequest
from clinic.demo.loading import load
from clinic.keeping.models import ErasureGround
from clinic.keeping.services.erasing import ask_erasure
from clinic.keeping.services.holding import hold_record
from clinic.letters.models import ProgressLetter
from clinic.letters.runs.models import LetterRun, RunLetter
from clinic.letters.sending.models import Batch, Sending
from clinic.scheduling.models import Appointment, Authorisation, WaitListEntry
from clinic.scheduling.services.feeds import FeedOf, make_feed
from clinic.scheduling.services.reminders import agree_to_reminders
from clinic.scheduling.staff_time import AppointmentKind, Closure, Room, TimeOff
from clinic.scheduling.states import Status
from clinic.scheduling.words import ReminderChannel
from clinic.visits.lists import Phrase, Service
from clinic.visits.plans import Goal, PlanOfCare
from measurements.models import GirthSession, OutcomeScore, Protocol
from programmes.garments import BandageRecord, Garment, SizeChart
from programmes.models import ClinicExercise
from programmes.services.drafts import begin_programme
from programmes.services.issue import issue_programme
from tests.builders import make_client, today
from tests.cast import Cast
from tests.clinic.visits import charting

# Part of an address -> whose key stands there: the first that fits.
ONE_OF: dict[str, tuple[type[Model], dict[str, Any]]] = {
    "referrer_id": (Referrer, {}),
    "precaution_id": (PrecautionFound, {"cleared_on": None}),
    "protocol_id": (Protocol, {"retired_at": None}),
    "session_id": (GirthSession, {"struck_at": None}),
    "score_id": (OutcomeScore, {"struck_at": None}),
    "region_id": (AffectedRegion, {"findings__isnull": False}),
    "letter_id": (ProgressLetter, {"approved_at": None}),
    "run_id": (LetterRun, {}),
    "row_id": (RunLetter, {"letter__isnull": False}),
    "batch_id": (Batch, {}),
    "sending_id": (Sending, {"sent_at__isnull": False}),
    "exercise_id": (ClinicExercise, {}),
    "garment_id": (Garment, {}),
    "chart_id": (SizeChart, {}),
    "record_id": (BandageRecord, {}),
    "room_id": (Room, {}),
    "kind_id": (AppointmentKind, {}),
    "closure_id": (Closure, {}),
    "entry_id": (WaitListEntry, {}),
    "authorisation_id": (Authorisation, {}),
    "service_id": (Service, {}),
    "phrase_id": (Phrase, {}),
    "copy_id": (CopyRequest, {}),
    "correction_id": (CorrectionRequest, {}),
    "plan_id": (PlanOfCare, {}),
    "goal_id": (Goal, {}),
}
# A word in an address, where it is no key.
WORDS = {"kind": "nodes", "reason": "remeasurement", "what": "girths", "mark": "nowhere"}
# Addresses whose part means another thing than elsewhere.
APART = {"exchange-import": {"kind": "clients"}}


def all_patterns(resolver: URLResolver | None = None) -> list[URLPattern]:
    found: list[URLPattern] = []
    for pattern in (resolver or get_resolver()).url_patterns:
        found += all_patterns(pattern) if isinstance(pattern, URLResolver) else [pattern]
    return found


def furnish(cast: Cast) -> dict[str, Any]:
    """Load the demo, add what it lacks; one key for each part of an address."""
    load(today(), say=lambda *words: None)
    episode = Episode.objects.filter(client__node_surgeries__isnull=False).first()
    client = episode.client
    given = begin_programme(episode=episode, by=cast.lead)
    issue_programme(programme=given, revision=given.revision, by=cast.lead)
    draft = begin_programme(episode=episode, by=cast.lead)
    coming = Appointment.objects.filter(status=Status.BOOKED, period__startswith__gt=now())
    appointment = coming.order_by("period").last()
    off = TimeOff.objects.create(therapist=cast.lead, period=appointment.period, by=cast.lead)
    view = SavedView.objects.create(owner=cast.lead, name="Mine", asked={})
    feed, token = make_feed(of=FeedOf(therapist=cast.lead), by=cast.lead)
    consent = agree_to_reminders(client=client, channel=ReminderChannel.PHONE, by=cast.lead)
    other = make_client(family_name="Nobody", given_name="Else")
    erasure = ask_erasure(
        client=other, ground=ErasureGround.LAW, reason="Asked in writing.", by=cast.other_therapist
    )
    hold = hold_record(client=client, reason="A claim was announced.", by=cast.lead)
    emergency = open_emergency(client=client, reason="Fainted at the desk.", by=cast.front_desk)
    connection.check_constraints()  # what waits for the end of a transaction is done once, here
    named = {name: model.objects.filter(**which).first() for name, (model, which) in ONE_OF.items()}
    return {
        **{name: row.pk for name, row in named.items() if row is not None},
        **WORDS,
        "client_id": client.pk,
        "episode_id": episode.pk,
        "treatment_id": NodeSurgery.objects.filter(client=client).first().pk,
        "user_id": cast.lead.pk,
        "programme_id": draft.pk,
        "appointment_id": appointment.pk,
        "off_id": off.pk,
        "other_id": other.pk,
        "erasure_id": erasure.pk,
        "hold_id": hold.pk,
        "access_id": emergency.pk,
        "view_id": view.pk,
        "consent_id": consent.pk,
        "feed_id": feed.pk,
        "token": token,
        "note_id": charting.draft(cast.lead, episode).pk,
    }


def addresses(ids: dict[str, Any]) -> dict[str, str]:
    """The address of everything, by its name."""
    precaution = PrecautionFound.objects.get(pk=ids["precaution_id"])
    apart = APART | {"precaution-clear": {"client_id": precaution.client_id}}
    found = {}
    for pattern in all_patterns():
        own = ids | apart.get(pattern.name or "", {})
        parts = {name: own[name] for name in pattern.pattern.converters}
        found[str(pattern.name)] = reverse(pattern.name, kwargs=parts)
    return found

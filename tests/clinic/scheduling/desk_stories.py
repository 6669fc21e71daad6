"""Builders of the desk's tests: appointments at a wall time, and a client with a rich record."""

from datetime import date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from clinic.accounts.models import User
from clinic.clients.models import Client, Irradiation, NodeSurgery, PrecautionFound
from clinic.common.vocabulary import (
    Basin,
    NodeProcedure,
    Precaution,
    RadiationField,
    RegionSide,
    Side,
)
from clinic.scheduling.models import Appointment, Authorisation
from clinic.scheduling.ranges import stored, wall, zone
from clinic.scheduling.spans import span
from clinic.scheduling.staff_time import AppointmentKind
from clinic.scheduling.states import CANCELLED, CancelReason, Status
from clinic.scheduling.words import Purpose
from tests.builders import make_episode, make_protocol, make_session
from tests.clinic.scheduling.desk import make_kind


def today() -> date:
    return timezone.localdate()


def days(number: int) -> timedelta:
    return timedelta(days=number)


def kind(purpose: Purpose = Purpose.TREATMENT) -> AppointmentKind:
    return make_kind(purpose)


def make_appointment(
    client: Client, therapist: User, on: date, at: time = time(9), **differences: Any
) -> Appointment:
    """A row as the services would leave it, without asking them: the past may be told too."""
    minutes = differences.pop("minutes", 60)
    status = differences.get("status", Status.BOOKED)
    values = {
        "client": client,
        "therapist": therapist,
        "kind": kind(differences.pop("purpose", Purpose.TREATMENT)),
        "period": stored(span(on, at, minutes=minutes, zone=zone())),
        "status": status,
        "status_at": timezone.now(),
        "cancel_reason": CancelReason.UNWELL if status in CANCELLED else "",
        "booked_by": therapist,
    }
    return Appointment.objects.create(**values | differences)


def make_authorisation(client: Client, by: User, **differences: Any) -> Authorisation:
    values = {
        "client": client,
        "payer": "Harbour Mutual",
        "number": "HM-2071",
        "from_on": today() - days(30),
        "to_on": today() + days(60),
        "visits": 12,
        "recorded_by": by,
    }
    return Authorisation.objects.create(**values | differences)


# What no page of the front desk may show of the client below.
CLINICAL_TEXT = (
    "I97.2",
    "postmastectomy",
    "lymphedema",
    "armpit",
    "axilla",
    "node",
    "radiation",
    "18.2",
    "32.5",
    "stage",
    "swollen",
    "intensive",
    "surveillance",
    "maintenance",
    "cellulitis",
    "infection",
    "pregnancy",
    "seizure",
    "faintness",
    "blisters behind the elbow",
    "girth",
    "mL",
)


def give_rich_record(client: Client, therapist: User) -> None:
    """A diagnosis, a basin, radiation, girths and precautions with notes."""
    episode = make_episode(client, therapist)
    make_session(episode, make_protocol(), taken_on=date(2026, 1, 6))
    NodeSurgery.objects.create(
        client=client,
        procedure=NodeProcedure.FULL,
        basin=Basin.AXILLA,
        side=Side.RIGHT,
        nodes_removed=17,
    )
    Irradiation.objects.create(
        client=client, field=RadiationField.CHEST_WALL, side=RegionSide.RIGHT
    )
    for precaution in (Precaution.UNTREATED_INFECTION, Precaution.LOW_BLOOD_PRESSURE):
        PrecautionFound.objects.create(
            client=client,
            precaution=precaution,
            found_on=date(2026, 1, 7),
            found_by=therapist,
            note="blisters behind the elbow",
        )


def at_wall(on: date, at: time) -> datetime:
    return wall(span(on, at, minutes=5, zone=zone()).starts_at)

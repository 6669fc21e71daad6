"""An invented summer: one act a function, so that each number can be worked out by hand."""

from datetime import UTC, date, datetime, timedelta

from clinic.accounts.models import User
from clinic.clients.models import Client, Episode, PhaseChange
from clinic.common.vocabulary import Involvement, Phase, Region, RegionSide
from clinic.letters.models import ProgressLetter
from clinic.overview.report_period import Period
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import stored
from clinic.scheduling.spans import Span
from clinic.scheduling.staff_time import AppointmentKind
from clinic.scheduling.states import Status
from clinic.scheduling.words import Purpose
from measurements.models import GirthSession, Protocol
from tests.builders import ARM_LEVELS_CM, make_client, make_episode, make_referrer, make_session

SUMMER = Period(date(2026, 7, 1), date(2026, 9, 30))
NOW = datetime(2026, 11, 25, 17, 0, tzinfo=UTC)
AT_RISK = [(Region.ARM, RegionSide.RIGHT, Involvement.AT_RISK)]
OTHER_CM = 20.0  # the other arm, a cylinder: its volume goes with the square of its girth


def registered(on: date, **differences: object) -> Client:
    """A client whom the desk registered at noon of a day."""
    client = make_client(**differences)
    noon = datetime(on.year, on.month, on.day, 16, 0, tzinfo=UTC)
    Client.objects.filter(pk=client.pk).update(registered_at=noon)
    return client


def opened(on: date, therapist: User, phase: Phase = Phase.INTENSIVE) -> Episode:
    client = registered(on, referrer=make_referrer())
    regions = {"regions": AT_RISK} if phase is Phase.SURVEILLANCE else {}
    return make_episode(client, therapist, opened_on=on, phase=phase, **regions)


def moved(episode: Episode, phase: Phase, on: date) -> None:
    PhaseChange.objects.create(
        episode=episode, phase=phase, since_on=on, reason="as told", by=episode.therapist
    )


def taped(
    episode: Episode, protocol: Protocol, on: date, right_cm: float, *, is_baseline: bool = False
) -> GirthSession:
    """Both arms as cylinders: the same girth at every level."""
    stations = len(ARM_LEVELS_CM)
    return make_session(
        episode,
        protocol,
        taken_on=on,
        is_baseline=is_baseline,
        right_cm=[right_cm] * stations,
        left_cm=[OTHER_CM] * stations,
    )


def treated(
    therapist: User, protocol: Protocol, *girths_cm: float, ended_on: date = date(2026, 8, 20)
) -> Episode:
    """An intensive phase that ended, taped once a girth, a week apart."""
    episode = opened(date(2026, 7, 6), therapist)
    for week, girth_cm in enumerate(girths_cm):
        taped(episode, protocol, episode.opened_on + timedelta(weeks=week), girth_cm)
    moved(episode, Phase.MAINTENANCE, ended_on)
    return episode


def appointments(client: Client, therapist: User, *outcomes: Status) -> None:
    """Treatments from 1 July on, one a day at noon."""
    kind = AppointmentKind.objects.filter(purpose=Purpose.TREATMENT)[0]
    for day, status in enumerate(outcomes):
        at = datetime(2026, 7, 1, 16, 0, tzinfo=UTC) + timedelta(days=day)
        Appointment.objects.create(
            client=client,
            therapist=therapist,
            kind=kind,
            period=stored(Span(at, at + timedelta(hours=1))),
            status=status,
            status_at=at,
            cancel_reason="unwell" if status.startswith("cancelled") else "",
            booked_by=therapist,
        )


def letter(episode: Episode, *, reported_to: date, approved_on: date) -> None:
    ProgressLetter.objects.create(
        episode=episode,
        referrer=episode.referrer,
        period_from=episode.opened_on,
        period_to=reported_to,
        bottom_line="Better.",
        compiled_by=episode.therapist,
        approved_by=episode.therapist,
        approved_at=datetime(*approved_on.timetuple()[:3], 16, tzinfo=UTC),
        summary={},
        pdf=b"%PDF",
        pdf_sha256="0" * 64,
    )

"""One client with at least one row of everything that leaves the practice. All invented."""

from dataclasses import asdict
from datetime import UTC, date, datetime, time
from decimal import Decimal

from django.utils import timezone
from psycopg.types.range import TimestamptzRange

from clinic.accounts.models import Practice, User
from clinic.clients.models import (
    Client,
    DrugTreatment,
    Episode,
    Irradiation,
    NodeSurgery,
    PrecautionFound,
    Surgery,
)
from clinic.common.vocabulary import Involvement, Region, RegionSide, Side
from clinic.letters.models import ProgressLetter
from clinic.scheduling.models import Appointment
from clinic.scheduling.staff_time import AppointmentKind
from clinic.visits.lists import Service
from clinic.visits.models import Addendum, TreatmentEntry, VisitNote
from clinic.visits.plans import Goal, GoalReview, PlanOfCare
from measurements.models import EndReading, GirthSession, LimbFindings, OutcomeScore
from programmes.body.steps import Chapter, Step, Technique
from programmes.compression.classes import ClassSystem
from programmes.models import AdherenceRecord, Garment, Programme
from tests.builders import make_client, make_episode, make_protocol, make_referrer, make_session
from tests.cast import Cast

PDF = b"%PDF-1.7 invented \xe2\x80\xaf bytes"
SIGNED_AT = datetime(2026, 2, 3, 16, 20, tzinfo=UTC)
# A narrow no-break space, as numbers are printed: no string of R4 may hold one.
NARROW = "101\N{NARROW NO-BREAK SPACE}mL"
STEP = Step(
    technique=Technique.CIRCLES,
    node="axilla_r",
    chapter=Chapter.RECEIVING,
    repetitions=10,
    place="Right armpit",
    direction="toward the collarbone",
)


def whole_record(cast: Cast) -> Client:
    """Everything of one client; a second one stands beside, of whom nothing may leave."""
    Practice.objects.update_or_create(
        pk=1, defaults={"name": "Saltmere Lymphedema Practice", "phone": "555-0144"}
    )
    client = make_client(
        referrer=make_referrer(fax="555-0101", email="farrow@example.com"),
        phone="555-0123",
        street="1 Mill Lane",
        town="Saltmere, NY 10001",
    )
    make_client(given_name="Nobody", family_name="Otherwise")
    _body(client, cast.therapist)
    episode = make_episode(
        client,
        cast.therapist,
        regions=[
            (Region.ARM, RegionSide.RIGHT, Involvement.SWOLLEN),
            (Region.BREAST, RegionSide.RIGHT, Involvement.AT_RISK),
        ],
        referral_reason="Heaviness of the right arm.",
    )
    _measures(episode, cast.therapist)
    _visit(episode, cast)
    _plan(episode, cast.therapist)
    _programme(episode, cast.therapist)
    _papers(episode, cast.lead)
    return client


def _body(client: Client, by: User) -> None:
    Surgery.objects.create(
        client=client, operation="mastectomy", side="right", done_on=date(2025, 3, 1), note="Left"
    )
    NodeSurgery.objects.create(
        client=client,
        procedure="full",
        basin="axilla",
        side="right",
        nodes_removed=14,
        nodes_positive=2,
    )
    Irradiation.objects.create(client=client, field="chest_wall", side="right")
    DrugTreatment.objects.create(client=client, drugs="hormone", done_on=date(2025, 6, 1))
    PrecautionFound.objects.create(
        client=client, precaution="low_blood_pressure", found_on=date(2026, 1, 5), found_by=by
    )


def _measures(episode: Episode, by: User) -> None:
    protocol = make_protocol()
    first = make_session(episode, protocol, taken_on=date(2026, 1, 5), is_baseline=True)
    EndReading.objects.create(session=first, side=Side.RIGHT, figure_of_eight_cm=Decimal("38.5"))
    struck = make_session(
        episode, protocol, taken_on=date(2026, 7, 6), taken_at=time(9, 30), note=NARROW
    )
    GirthSession.objects.filter(pk=struck.pk).update(
        struck_at=timezone.now(), struck_by=by, struck_reason="Wrong arm"
    )
    make_session(episode, protocol, taken_on=date(2026, 7, 6), taken_at=None, weight_kg=None)
    LimbFindings.objects.create(
        region=episode.regions.get(region="arm"),
        found_on=date(2026, 1, 5),
        found_by=by,
        swelling_visible=True,
        pitting="1+",
        elevation="partly",
        stemmer="positive",
        fibrosis="mild",
        skin_changes=["thickening"],
        symptoms=["heaviness"],
        suggested_stage="II",
        stage="II",
    )
    scored = {"episode": episode, "scored_on": date(2026, 1, 5), "scored_by": by}
    for instrument, side, part, score in (
        ("pain", "", "mean", "2.333"),
        ("quickdash", "", "", "40.91"),
        ("shoulder", "right", "flexion", "140"),
        ("grip", "left", "", "21.5"),
        ("impedance", "right", "arm", "1.14"),
        ("displaced", "right", "hand", "412"),
    ):
        OutcomeScore.objects.create(
            **scored, instrument=instrument, side=side, part=part, score=Decimal(score)
        )


def _visit(episode: Episode, cast: Cast) -> None:
    by = cast.therapist
    begins, ends = SIGNED_AT.replace(hour=14), SIGNED_AT.replace(hour=15)
    appointment = Appointment.objects.create(
        client=episode.client,
        therapist=by,
        kind=AppointmentKind.objects.first(),
        period=TimestamptzRange(begins, ends),
        status="done",
        status_at=ends,
        booked_by=by,
    )
    note = VisitNote.objects.create(
        episode=episode,
        appointment=appointment,
        kind="treatment",
        visited_on=date(2026, 2, 3),
        visit_min=60,
        therapist=by,
        subjective="Feels lighter.",
        begun_by=by,
        edited_by=by,
    )
    service = Service.objects.get(code="97140")
    TreatmentEntry.objects.create(note=note, service=service, minutes=40, remark="Right arm")
    VisitNote.objects.filter(pk=note.pk).update(
        signed_at=SIGNED_AT,
        signed_by=by,
        signature=by.signature,
        signed={},
        seal="a" * 64,
        needs_cosignature=True,
        cosigned_at=SIGNED_AT,
        cosigned_by=cast.lead,
        cosignature=cast.lead.signature,
        cosignature_seal="b" * 64,
    )
    Addendum.objects.create(
        note=note,
        text="Bandage changed at home.",
        written_by=by,
        signature=by.signature,
        written_at=SIGNED_AT,
        seal="c" * 64,
    )
    VisitNote.objects.create(
        episode=episode,
        kind="treatment",
        visited_on=date(2026, 2, 4),
        therapist=by,
        subjective="A draft stays here.",
        begun_by=by,
        edited_by=by,
    )


def _plan(episode: Episode, by: User) -> None:
    plan = PlanOfCare.objects.create(
        episode=episode,
        number=1,
        from_on=date(2026, 1, 5),
        to_on=date(2026, 4, 5),
        visits_a_week=4,
        weeks=3,
        treatment="Drainage, bandaging, exercise.",
        outlook="Good.",
        written_by=by,
    )
    goals = [
        Goal.objects.create(
            plan=plan,
            text=text,
            measure=measure,
            instrument=named,
            target=target,
            due_on=plan.to_on,
        )
        for text, measure, named, target in (
            ("Excess below 10 %", "excess_percent", "", 10),
            ("Lifts the arm", "score", "shoulder:right:flexion", 160),
            ("Bandages herself", "told", "", None),
        )
    ]
    GoalReview.objects.create(
        goal=goals[0], status="met", value=8, reviewed_on=date(2026, 3, 1), reviewed_by=by
    )
    PlanOfCare.objects.filter(pk=plan.pk).update(
        signed_at=SIGNED_AT, signed_by=by, signature=by.signature, signed={}, seal="d" * 64
    )


def _programme(episode: Episode, by: User) -> None:
    programme = Programme.objects.create(
        episode=episode,
        number=1,
        steps=[asdict(STEP)],
        skin_care="Cream in the evening.",
        stop_and_call="Redness or fever.",
        exercises=[{"name": "Fist", "position": "", "how": "Close and open.", "dose": "10 times"}],
        begun_by=by,
        edited_by=by,
    )
    Programme.objects.filter(pk=programme.pk).update(
        issued_at=SIGNED_AT,
        issued_by=by,
        situation={},
        precautions={},
        dose={},
        printed={},
        handout=PDF,
        handout_sha256="e" * 64,
        paper_size="letter",
    )
    AdherenceRecord.objects.create(
        episode=episode,
        programme=programme,
        recorded_on=date(2026, 2, 3),
        days_done=5,
        recorded_by=by,
    )


def _papers(episode: Episode, by: User) -> None:
    Garment.objects.create(
        episode=episode,
        part="arm",
        side="right",
        class_system=ClassSystem.RAL_ARM,
        class_name="2",
        from_mmhg=23,
        to_mmhg=32,
        worn_by="day",
        make="ready_made",
        ordered_on=date(2026, 2, 1),
        recorded_by=by,
    )
    make_letter(episode, by)


def make_letter(episode: Episode, by: User, *, pdf: bytes = PDF) -> ProgressLetter:
    """A letter as approved."""
    return ProgressLetter.objects.create(
        episode=episode,
        kind="letter" if episode.referrer else "report",
        referrer=episode.referrer,
        period_from=date(2026, 1, 1),
        period_to=date(2026, 1, 31),
        bottom_line=f"Better: the excess has fallen by {NARROW}.",
        compiled_by=by,
        approved_by=by,
        approved_at=SIGNED_AT,
        summary={},
        pdf=pdf,
        pdf_sha256="f" * 64,
    )

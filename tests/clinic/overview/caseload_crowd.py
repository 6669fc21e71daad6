"""Invented episodes at random, so that every rule of the caseload meets every other."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from typing import Any

from clinic.accounts.models import User
from clinic.clients.models import Client, Episode, PhaseChange, PrecautionFound, Referrer
from clinic.common.vocabulary import (
    Involvement,
    LetterFrequency,
    Limb,
    Phase,
    Precaution,
    Region,
    RegionSide,
    Stage,
)
from clinic.letters.models import ProgressLetter
from clinic.overview.caseload_facts import Elsewhere
from clinic.scheduling.models import Appointment, RecallSchedule
from clinic.scheduling.ranges import stored, zone
from clinic.scheduling.recalls import Recall
from clinic.scheduling.spans import Span
from clinic.scheduling.states import CANCELLED, CancelReason, Status
from clinic.scheduling.words import Purpose, RecallReason
from clinic.visits.models import RedFlagSeen, VisitNote
from clinic.visits.red_flags import RedFlagKind
from clinic.visits.words import VisitKind
from measurements.kept_standing import KeptStanding
from measurements.limb.comparison import Verdict
from measurements.models import GirthDraft, GirthSession, LimbFindings, Protocol
from programmes.compression.classes import ClassSystem
from programmes.compression.words import BodyPart, Make, WornBy
from programmes.models import Garment
from programmes.selectors.flags import WithdrawalFlag
from tests.builders import make_client, make_episode, make_protocol, make_referrer
from tests.clinic.scheduling.desk_stories import kind

NAMES = ["Ångley", "Ashby", "Zabel", "de Wit", "Øst", "O'Malley", "Émile", "Ashby-Long"]
LIMBS = {Region.ARM: Limb.ARM, Region.LEG: Limb.LEG}
SIDES = {Region.HEAD_NECK: RegionSide.MIDLINE}


@dataclass(frozen=True)
class Crowd:
    """Who makes the episodes, by what chance, and for which day."""

    random: Random
    today: date
    therapists: Sequence[User]
    protocol: Protocol

    def chance(self, of: float = 0.5) -> bool:
        return self.random.random() < of

    def day(self, first: int = -400, last: int = 0) -> date:
        """So many days from today; often one at the edge of a rule."""
        edges = [each for each in (-365, -366, -14, -15, -1, 0, 1, 14, 15) if first <= each <= last]
        offset = self.random.choice(edges) if edges and self.chance(0.3) else None
        return self.today + timedelta(
            days=self.random.randint(first, last) if offset is None else offset
        )

    def moment(self, first: int = -400, last: int = 0) -> datetime:
        """Near midnight of the practice, where its day is not the database's."""
        at = self.random.choice([time(0, 10), time(12), time(23, 50)])
        return datetime.combine(self.day(first, last), at, zone())


def crowd(random: Random, today: date, therapists: Sequence[User]) -> Crowd:
    return Crowd(random, today, therapists, make_protocol())


def fill(own: Crowd, *, episodes: int) -> Elsewhere:
    """Makes them, some of the same client, and says what other rules found of them."""
    clients: list[Client] = []
    made = [_episode(own, _client(own, clients)) for _ in range(episodes)]
    for client in clients:
        _precautions(own, client)
        _bookings(own, client)
    return _elsewhere(own, made)


def _client(own: Crowd, clients: list[Client]) -> Client:
    if clients and own.chance(0.2):
        return own.random.choice(clients)
    clients.append(
        make_client(
            family_name=own.random.choice(NAMES),
            given_name="A.",
            referrer=_referrer(own) if own.chance(0.8) else None,
            agrees_to_letters=own.chance(0.8),
        )
    )
    return clients[-1]


def _referrer(own: Crowd) -> Referrer:
    wish = own.random.choice(list(LetterFrequency))
    return make_referrer(letter_frequency=wish, is_active=own.chance(0.8))


def _episode(own: Crowd, client: Client) -> Episode:
    phases = [Phase.INTENSIVE, Phase.MAINTENANCE, Phase.SURVEILLANCE]
    regions = own.random.sample(
        [*LIMBS, Region.BREAST, Region.HEAD_NECK], own.random.choice([1, 2])
    )
    episode = make_episode(
        client,
        own.random.choice(own.therapists),
        opened_on=own.day(-500, -2),
        phase=own.random.choice(phases),
        referrer=own.random.choice([client.referrer, client.referrer, None, _referrer(own)]),
        regions=[
            (each, SIDES.get(each, own.random.choice([RegionSide.LEFT, RegionSide.RIGHT])),
             own.random.choice(list(Involvement)))
            for each in regions
        ],
    )  # fmt: skip
    if own.chance(0.3):
        phase = own.random.choice(list(Phase))
        PhaseChange.objects.create(
            episode=episode, phase=phase, since_on=own.day(-2), reason="Told", by=episode.therapist
        )
    for part in (_schedule, _findings, _taped, _letters, _drafts, _notes, _garments):
        part(own, episode)
    return episode


def _schedule(own: Crowd, episode: Episode) -> None:
    if own.chance(0.3):
        months = own.random.randint(1, 24)
        RecallSchedule.objects.create(episode=episode, every_months=months, by=episode.therapist)


def _findings(own: Crowd, episode: Episode) -> None:
    for region in episode.regions.all():
        for _ in range(own.random.choice([0, 1, 1, 2])):
            stage = own.random.choice(list(Stage))
            LimbFindings.objects.create(
                region=region, found_on=own.day(), found_by=episode.therapist,
                swelling_visible=True, pitting="none", elevation="none", stemmer="negative",
                fibrosis="none", suggested_stage=stage, stage=stage,
            )  # fmt: skip


def _taped(own: Crowd, episode: Episode) -> None:
    """Sessions, and standings that fit them or are behind."""
    for region in episode.regions.all():
        if (limb := LIMBS.get(Region(region.region))) is None or own.chance(0.15):
            continue
        days = sorted(own.day() for _ in range(own.random.choice([1, 2, 3])))
        for number, day in enumerate(days):
            GirthSession.objects.create(
                episode=episode, protocol=own.protocol, limb=limb, taken_on=day, round=number + 1,
                posture="sitting", taken_by=episode.therapist,
            )  # fmt: skip
        if own.chance(0.9):
            _standing(own, episode, limb, days[-1] if own.chance(0.9) else days[0])


def _standing(own: Crowd, episode: Episode, limb: Limb, taken_on: date) -> None:
    is_excess = own.chance(0.7)
    KeptStanding.objects.create(
        episode=episode, limb=limb, session_id=episode.pk, taken_on=taken_on, is_bilateral=False,
        is_excess=is_excess, side="right",
        value_ml=_number(own, 1, 900), error_ml=20.0,
        percent=_number(own, -5, 40) if is_excess else None,
        verdict=own.random.choice(list(Verdict)) if is_excess else "",
        relative_percent=_number(own, -8, 9), relative_error=_number(own, 0.3, 3),
        is_sudden_rise=own.chance(0.1), both_rose=own.chance(0.1), points=[],
        **_change(own, "before"), **_change(own, "baseline"),
    )  # fmt: skip


def _number(own: Crowd, low: float, high: float) -> float | None:
    """Sometimes none, nought, or the limit of a rule."""
    rare = [None, 0.0, 3.0] if own.chance(0.15) else [own.random.uniform(low, high)]
    return own.random.choice(rare)


def _change(own: Crowd, name: str) -> dict[str, Any]:
    if own.chance(0.25):
        return {}
    return {
        f"{name}_on": own.day(),
        f"{name}_ml": own.random.uniform(-300, 300),
        f"{name}_error_ml": 20.0,
        f"{name}_verdict": own.random.choice(list(Verdict)),
    }


def _letters(own: Crowd, episode: Episode) -> None:
    reader = episode.referrer or episode.client.referrer
    if reader is None:
        return
    common = {"episode": episode, "referrer": reader, "compiled_by": episode.therapist}
    for _ in range(own.random.choice([0, 1, 2])):
        to_on = own.day(-200)
        ProgressLetter.objects.create(
            period_from=to_on, period_to=to_on, kind=own.random.choice(["letter", "report"]),
            approved_by=episode.therapist, approved_at=datetime.now(UTC), summary={}, pdf=b"%PDF",
            pdf_sha256="0" * 64, **common,
        )  # fmt: skip
    for letter_kind in ("letter", "report"):
        if own.chance(0.15):
            draft = ProgressLetter.objects.create(
                period_from=own.today, period_to=own.today, kind=letter_kind, **common
            )
            ProgressLetter.objects.filter(pk=draft.pk).update(compiled_at=own.moment(-60))


def _drafts(own: Crowd, episode: Episode) -> None:
    for limb in Limb:
        if own.chance(0.1):
            draft = GirthDraft.objects.create(
                episode=episode, by=episode.therapist, limb=limb, typed={}
            )
            GirthDraft.objects.filter(pk=draft.pk).update(saved_at=own.moment(-60))


def _notes(own: Crowd, episode: Episode) -> None:
    """Most signed, as rows."""
    by = episode.therapist
    for _ in range(own.random.choice([0, 0, 1, 2])):
        note = VisitNote.objects.create(
            episode=episode, kind=VisitKind.TREATMENT, visited_on=own.day(-40), therapist=by,
            begun_by=by, edited_by=by, signs=["fever"] if own.chance(0.2) else [],
        )  # fmt: skip
        if own.chance(0.2):
            RedFlagSeen.objects.create(
                note=note, kind=own.random.choice(list(RedFlagKind)), because="-", action="-",
                seen_by=by,
            )  # fmt: skip
        if own.chance(0.7):
            VisitNote.objects.filter(pk=note.pk).update(
                signed_at=datetime.now(UTC), signed_by=by, signed={}, seal="-", signature="-",
                needs_cosignature=own.chance(0.3),
            )  # fmt: skip


def _garments(own: Crowd, episode: Episode) -> None:
    for _ in range(own.random.choice([0, 0, 1, 2])):
        issued_on = own.day(-300, -30)
        Garment.objects.create(
            episode=episode, part=BodyPart.ARM, side=RegionSide.RIGHT, make=Make.READY_MADE,
            class_system=ClassSystem.RAL_ARM, class_name="2", from_mmhg=23, to_mmhg=32,
            worn_by=own.random.choice(list(WornBy)), supplier="Harbour Supplies",
            issued_on=issued_on, recorded_by=episode.therapist,
            replacement_due_on=own.day(-29, 40),
        )  # fmt: skip


def _precautions(own: Crowd, client: Client) -> None:
    for precaution in own.random.sample(list(Precaution), own.random.choice([0, 0, 1, 2])):
        cleared = {"cleared_by": own.therapists[0], "cleared_reason": "-", "cleared_on": own.today}
        PrecautionFound.objects.create(
            client=client, precaution=precaution, found_on=own.day(-90),
            found_by=own.therapists[0], **(cleared if own.chance(0.2) else {}),
        )  # fmt: skip


def _bookings(own: Crowd, client: Client) -> None:
    """At times of their own; sometimes so many treatments that a report is near."""
    times = own.random.choice([0, 1, 3, 9])
    for _ in range(times):
        starts_at = own.moment(-380, 30) + timedelta(seconds=2 * Appointment.objects.count())
        status = own.random.choice(list(Status)) if times < 9 else Status.DONE
        Appointment.objects.create(
            client=client, therapist=own.therapists[0], status_at=starts_at, status=status,
            kind=kind(own.random.choice(list(Purpose)) if times < 9 else Purpose.TREATMENT),
            period=stored(Span(starts_at, starts_at + timedelta(seconds=1))),
            cancel_reason=CancelReason.UNWELL if status in CANCELLED else "",
            booked_by=own.therapists[0],
        )  # fmt: skip


def _elsewhere(own: Crowd, episodes: Sequence[Episode]) -> Elsewhere:
    reasons = [RecallReason.PROGRESS_REPORT, RecallReason.PLAN_ENDING]
    return Elsewhere(
        today=own.today,
        plans={
            (each.client_id, each.pk): (Recall(own.random.choice(reasons), own.day(-30, 30)),)
            for each in episodes
            if own.chance(0.2)
        },
        level={each.pk: own.day(-30) for each in episodes if own.chance(0.2)},
        withdrawals={each.pk: _withdrawal(own) for each in episodes if own.chance(0.1)},
    )


def _withdrawal(own: Crowd) -> WithdrawalFlag:
    """Only what was found is asked of it."""
    found = own.random.sample(list(Precaution), 2)
    none: Any = None
    return WithdrawalFlag(
        none, tuple(PrecautionFound(precaution=each, found_on=own.day(-40)) for each in found)
    )

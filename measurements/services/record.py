"""Keeping, striking out and choosing measuring sessions."""

from collections.abc import Iterable
from datetime import date
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode
from clinic.common.vocabulary import Limb, Sex
from measurements.errors import (
    DayImpossible,
    EndNotInProtocol,
    GirthsLeftOver,
    ProtocolRetired,
    QuestionsOpen,
    SameDaySession,
    SessionReplaced,
    SessionStruck,
    StationsOpen,
)
from measurements.limb.errors import NoReadings, ReadingsRejected, StationMissing
from measurements.limb.girth import Reading, check_readings
from measurements.limb.levels import EndHandling, EndMeasure
from measurements.models import EndReading, GirthDraft, GirthReading, GirthSession, Protocol
from measurements.questions import limbs_taped, questions_about, still_open
from measurements.selectors.entry import last_time, live_sessions, readings_of, sessions_of_day
from measurements.selectors.taped import swollen_side
from measurements.services.standings import keep_standings
from measurements.taped import SameDay, SessionTaped, Station, TapedFacts
from measurements.typed_numbers import check_weight

# A session entered without knowing of any other of that day.
NOTHING_SEEN = SameDay()


def record_session(
    *, episode: Episode, taped: SessionTaped, by: User, same_day: SameDay = NOTHING_SEEN
) -> GirthSession:
    """Keep one measuring session as taped, or nothing; the person's draft of it goes.

    Girths in cm, weight in kg. The first session of a limb becomes its baseline. Raises
    ReadingsRejected and the SessionErrors; SameDaySession when the limb has sessions of that
    day which `same_day` does not name: the person then chooses.
    """
    try:
        with transaction.atomic():
            return _record(episode, taped, by, same_day)
    except IntegrityError as error:
        if "session_once_per_round" not in str(error):
            raise
        facts = taped.facts
        raise SameDaySession(sessions_of_day(episode, facts.limb, facts.taken_on)) from error


def _record(episode: Episode, taped: SessionTaped, by: User, same_day: SameDay) -> GirthSession:
    episode = lock_episode(episode)
    protocol = _protocol_to_follow(taped.facts, same_day)
    check_session(episode, protocol, taped)
    of_day = sessions_of_day(episode, taped.facts.limb, taped.facts.taken_on)
    if twin := _saved_already(of_day, taped, by):
        return twin
    unseen = [session for session in of_day if session.pk not in same_day.seen]
    if unseen:
        raise SameDaySession(of_day)
    replaced = _make_room(episode, taped.facts.limb, same_day, by)
    session = _create(episode, taped, by, replaced=replaced, of_day=of_day)
    GirthDraft.objects.filter(episode=episode, limb=session.limb, by=by).delete()
    keep_standings([episode.pk])
    audit.record(by, "girths.recorded", client=episode.client, subject=session)
    return session


@transaction.atomic
def strike_session(*, session: GirthSession, reason: str, by: User) -> GirthSession:
    """Strike a session out; it stays to be read. Raises SessionStruck.

    A struck baseline leaves the limb without one until a person chooses another.
    """
    lock_episode(session.episode)
    session = GirthSession.objects.select_related("episode__client").get(pk=session.pk)
    _strike(session, reason, by)
    keep_standings([session.episode_id])
    return session


@transaction.atomic
def set_baseline(*, session: GirthSession, by: User) -> GirthSession:
    """Make a live session the one that later ones are compared with. Raises SessionStruck."""
    episode = lock_episode(session.episode)
    session.refresh_from_db()
    if session.struck_at is not None:
        raise SessionStruck(session)
    live_sessions(episode, Limb(session.limb)).filter(is_baseline=True).update(is_baseline=False)
    session.is_baseline = True
    session.save(update_fields=["is_baseline"])
    keep_standings([episode.pk])
    audit.record(by, "baseline.set", client=episode.client, subject=session)
    return session


def lock_episode(episode: Episode) -> Episode:
    """The episode, locked until the transaction ends: its sessions change one at a time."""
    found = Episode.objects.select_for_update(of=("self",)).select_related("client")
    return found.get(pk=episode.pk)


def check_session(episode: Episode, protocol: Protocol, taped: SessionTaped) -> None:
    """Raise what a person must mend or confirm first; the day, then the girths, then questions."""
    _check_day(episode, taped.facts)
    if taped.facts.weight_kg is not None:
        check_weight(taped.facts.weight_kg)
    if taped.left_over and not taped.confirmed.left_over:
        raise GirthsLeftOver(taped.left_over)
    _check_girths(protocol, taped)
    for side, end in taped.ends.items():
        if _end_handling(end) != protocol.end_handling:
            raise EndNotInProtocol(side)
    if still := _open_questions(episode, protocol, taped):
        raise QuestionsOpen(still)


def _check_day(episode: Episode, facts: TapedFacts) -> None:
    today = timezone.localdate()
    if facts.taken_on > today:
        raise DayImpossible(facts.taken_on, today)
    if facts.taken_on < episode.client.born_on:
        raise DayImpossible(facts.taken_on, episode.client.born_on)


def _check_girths(protocol: Protocol, taped: SessionTaped) -> None:
    """Pure rules; stations without a girth may be left out when the person says so."""
    levels_cm = [float(station.level_cm) for station in protocol.stations.all()]
    if untaped := {r.side for r in taped.readings} ^ set(taped.sides):
        raise ReadingsRejected(tuple(NoReadings(side) for side in sorted(untaped)))
    try:
        check_readings(taped.readings, levels_cm=levels_cm)
    except ReadingsRejected as rejected:
        missing = [each for each in rejected.problems if isinstance(each, StationMissing)]
        if len(missing) < len(rejected.problems):
            raise
        if not taped.confirmed.open_stations:
            raise StationsOpen(_stations_of(missing)) from rejected


def _stations_of(missing: Iterable[StationMissing]) -> tuple[Station, ...]:
    return tuple((each.side, level) for each in missing if each.side for level in each.levels_cm)


def _end_handling(end: EndMeasure) -> EndHandling:
    is_length = end.figure_of_eight_cm is not None
    return EndHandling.FIGURE_OF_EIGHT if is_length else EndHandling.DISPLACEMENT


def _open_questions(
    episode: Episode, protocol: Protocol, taped: SessionTaped
) -> tuple[object, ...]:
    facts = taped.facts
    previous = last_time(
        episode, facts.limb, before=facts.taken_on, landmark=protocol.start_landmark
    )
    asked = questions_about(
        facts.limb,
        limbs_taped(taped.readings, zero_mark=protocol.start_landmark),
        sex=Sex(episode.client.sex),
        previous=previous.limbs if previous else {},
        swollen=swollen_side(facts.limb, episode.regions.all()),
    )
    return still_open(asked, taped.confirmed.girths)


def _protocol_to_follow(facts: TapedFacts, same_day: SameDay) -> Protocol:
    """The protocol, locked, so that nobody changes or retires it meanwhile.

    A retired one may only be followed by the correction of a session taken with it.
    """
    protocol = Protocol.objects.select_for_update().get(pk=facts.protocol_id, limb=facts.limb)
    corrected = GirthSession.objects.filter(pk=same_day.replaces, protocol=protocol)
    if protocol.retired_at is not None and not corrected.exists():
        raise ProtocolRetired(protocol.name)
    return protocol


def _saved_already(
    of_day: Iterable[GirthSession], taped: SessionTaped, by: User
) -> GirthSession | None:
    """The same session of the same person: a second click, or a page sent twice."""
    for session in of_day:
        same_facts = (session.taken_by_id, session.taken_at) == (by.pk, taped.facts.taken_at)
        if same_facts and set(readings_of(session)) == set(taped.readings):
            return session
    return None


def _make_room(episode: Episode, limb: Limb, same_day: SameDay, by: User) -> GirthSession | None:
    """The session to be replaced, struck out if it is not yet. Raises SessionReplaced."""
    sessions = GirthSession.objects.select_related("episode__client")
    replaced = sessions.filter(pk=same_day.replaces, episode=episode, limb=limb).first()
    if replaced is None:
        return None
    if GirthSession.objects.filter(replaces=replaced).exists():
        raise SessionReplaced(replaced)
    if replaced.struck_at is None:
        _strike(replaced, same_day.reason, by)
    return replaced


def _strike(session: GirthSession, reason: str, by: User) -> None:
    if session.struck_at is not None:
        raise SessionStruck(session)
    session.struck_at, session.struck_by, session.struck_reason = timezone.now(), by, reason
    session.save(update_fields=["struck_at", "struck_by", "struck_reason"])
    audit.record(by, "girths.struck", client=session.episode.client, subject=session)


def _create(
    episode: Episode,
    taped: SessionTaped,
    by: User,
    *,
    replaced: GirthSession | None,
    of_day: Iterable[GirthSession],
) -> GirthSession:
    facts = taped.facts
    session = GirthSession.objects.create(
        episode=episode,
        protocol_id=facts.protocol_id,
        limb=facts.limb,
        taken_on=facts.taken_on,
        taken_at=facts.taken_at,
        round=_round(of_day, replaced, facts.taken_on),
        posture=facts.posture,
        weight_kg=facts.weight_kg,
        note=facts.note,
        taken_by=by,
        replaces=replaced,
        is_baseline=_becomes_baseline(episode, facts.limb, replaced),
    )
    GirthReading.objects.bulk_create(
        reading_row(session, each, taped.confirmed.girths) for each in taped.readings
    )
    EndReading.objects.bulk_create(
        EndReading(
            session=session,
            side=side,
            figure_of_eight_cm=end.figure_of_eight_cm,
            displaced_ml=end.displaced_ml,
        )
        for side, end in taped.ends.items()
    )
    return session


def reading_row(
    session: GirthSession, reading: Reading, confirmed: frozenset[Station]
) -> GirthReading:
    """A reading as the row that keeps it."""
    return GirthReading(
        session=session,
        side=reading.side,
        level_cm=reading.level_cm,
        trial=reading.trial,
        girth_cm=reading.girth_cm,
        was_confirmed=(reading.side, reading.level_cm) in confirmed,
    )


def _round(of_day: Iterable[GirthSession], replaced: GirthSession | None, taken_on: date) -> int:
    """The replaced session's own round while it is free, else the next of the day."""
    rounds: set[int] = {each.round for each in of_day if each.pk != _pk(replaced)}
    if replaced and replaced.taken_on == taken_on and replaced.round not in rounds:
        return replaced.round
    return max(rounds, default=0) + 1


def _pk(session: GirthSession | None) -> UUID | None:
    return session.pk if session else None


def _becomes_baseline(episode: Episode, limb: Limb, replaced: GirthSession | None) -> bool:
    """The first live session does; so does one that takes a struck baseline's place."""
    live = live_sessions(episode, limb)
    if replaced and replaced.is_baseline:
        return not live.filter(is_baseline=True).exists()
    return not live.exists()

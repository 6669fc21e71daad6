"""Writes about clients, referrers, episodes and what was done to a body."""

from collections.abc import Sequence
from datetime import date

from django.conf import settings
from django.db import IntegrityError, connection, transaction
from django.utils import timezone
from django.utils.module_loading import import_string

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients import days, editing, errors
from clinic.clients.models import (
    AffectedRegion,
    CancerTreatment,
    Client,
    Episode,
    PhaseChange,
    PrecautionFound,
    Referrer,
)
from clinic.clients.selectors import current_phase, look_alikes
from clinic.common.vocabulary import Phase

# First key of the lock under which clients of one birthday are registered one after another.
BIRTHDAY_LOCK = 18_90

# Clients


@transaction.atomic
def register_client(
    *,
    client: Client,
    by: User,
    new_referrer: Referrer | None = None,
    is_deliberate: bool = False,
) -> Client:
    """Keep a new client, and the new referrer if there is one.

    An empty record number is filled with the next free one. Raises LooksLikeAnother unless the
    person has seen the list and registers all the same, BornTooEarly, DayInFuture,
    RecordNumberTaken.
    """
    days.check_birth(client.born_on, today=timezone.localdate())
    _one_birthday_at_a_time(client.born_on)
    if not is_deliberate and (alike := look_alikes(client)):
        raise errors.LooksLikeAnother(alike)
    if new_referrer is not None:
        client.referrer = add_referrer(referrer=new_referrer, by=by)
    client.record_number = client.record_number or next_record_number()
    _save_client(client)
    audit.record(by, "client.registered", client=client, subject=client)
    return client


@transaction.atomic
def edit_client(*, client: Client, before: editing.Said, by: User) -> Client:
    """Keep changed details. `before` is what the form showed when it was opened.

    Raises ChangedMeanwhile when the stored record says something else by now, RecordGone,
    BornTooEarly, DayInFuture, RecordNumberTaken.
    """
    lock_record(client=client)
    _refuse_if_changed(client, before)
    days.check_birth(client.born_on, today=timezone.localdate())
    client.record_number = client.record_number or next_record_number()
    _save_client(client)
    audit.record(by, "client.edited", client=client, subject=client)
    return client


@transaction.atomic
def deactivate_client(*, client: Client, reason: str, by: User) -> Client:
    """Take a client off the lists; nothing is deleted and it can be undone. Raises RecordGone."""
    lock_record(client=client)
    client.deactivated_at = timezone.now()
    client.deactivated_reason = reason
    client.save(update_fields=["deactivated_at", "deactivated_reason"])
    audit.record(by, "client.deactivated", client=client, subject=client)
    return client


@transaction.atomic
def reactivate_client(*, client: Client, by: User) -> Client:
    """Put a deactivated client back on the lists. Raises RecordGone."""
    lock_record(client=client)
    client.deactivated_at = None
    client.deactivated_reason = ""
    client.save(update_fields=["deactivated_at", "deactivated_reason"])
    audit.record(by, "client.reactivated", client=client, subject=client)
    return client


@transaction.atomic
def note_client_opened(*, client: Client, by: User) -> None:
    """Record that somebody read a client's details."""
    audit.record(by, "client.opened", client=client, subject=client)


def lock_record(*, client: Client) -> Client:
    """The client's row, held to the end of the transaction, so that no merge or erasure passes by.

    Others may still refer to it, as each entry of the access record does: who does so and holds a
    row of the record would else wait for us, and we for them. Raises RecordGone after one.
    """
    stored = Client.objects.select_for_update(no_key=True).get(pk=client.pk)
    if stored.is_gone:
        raise errors.RecordGone
    return stored


def next_record_number() -> str:
    """The next number of the database's sequence that nobody typed in by hand before."""
    with connection.cursor() as cursor:
        while True:
            cursor.execute("SELECT nextval('clients_record_number')")
            number = str(cursor.fetchone()[0])
            if not Client.objects.filter(record_number=number).exists():
                return number


def _one_birthday_at_a_time(born_on: date) -> None:
    """Two people registering the same client at once must not both find no look-alike."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [BIRTHDAY_LOCK, born_on.toordinal()])


def _save_client(client: Client) -> None:
    taken = Client.objects.filter(record_number=client.record_number).exclude(pk=client.pk)
    if taken.exists():
        raise errors.RecordNumberTaken(client.record_number)
    client.full_clean()
    try:
        with transaction.atomic():
            client.save()
    except IntegrityError as error:  # somebody else took the number a moment ago
        raise errors.RecordNumberTaken(client.record_number) from error


# Referrers


@transaction.atomic
def add_referrer(*, referrer: Referrer, by: User) -> Referrer:
    """Keep a new referrer."""
    referrer.full_clean()
    referrer.save()
    audit.record(by, "referrer.added", subject=referrer)
    return referrer


@transaction.atomic
def edit_referrer(*, referrer: Referrer, before: editing.Said, by: User) -> Referrer:
    """Keep changed details. Raises ChangedMeanwhile when another person saved in between."""
    _refuse_if_changed(referrer, before)
    referrer.full_clean()
    referrer.save()
    audit.record(by, "referrer.edited", subject=referrer)
    return referrer


@transaction.atomic
def deactivate_referrer(*, referrer: Referrer, by: User) -> Referrer:
    """Offer a referrer no longer; clients and letters that name them stay as they are."""
    referrer.is_active = False
    referrer.save(update_fields=["is_active"])
    audit.record(by, "referrer.deactivated", subject=referrer)
    return referrer


@transaction.atomic
def reactivate_referrer(*, referrer: Referrer, by: User) -> Referrer:
    """Offer a referrer again."""
    referrer.is_active = True
    referrer.save(update_fields=["is_active"])
    audit.record(by, "referrer.reactivated", subject=referrer)
    return referrer


# Episodes


@transaction.atomic
def open_episode(
    *, episode: Episode, regions: Sequence[AffectedRegion], phase: Phase, reason: str, by: User
) -> Episode:
    """Open an episode in its first phase, which begins on the opening day.

    `regions` are unsaved. Raises NoRegion, FirstPhaseDischarged, DayInFuture, BeforeBirth.
    """
    if phase is Phase.DISCHARGED:
        raise errors.FirstPhaseDischarged
    _check_opening(episode, regions)
    episode.full_clean()
    episode.save()
    _keep_regions(episode, regions)
    _begin_phase(episode, phase, since_on=episode.opened_on, reason=reason, by=by)
    audit.record(by, "episode.opened", client=episode.client, subject=episode)
    return episode


@transaction.atomic
def edit_episode(
    *, episode: Episode, regions: Sequence[AffectedRegion], before: editing.Said, by: User
) -> Episode:
    """Keep a changed episode; regions left out are removed.

    Raises ChangedMeanwhile, NoRegion, DayInFuture, BeforeBirth, OpenedAfterFirstPhase.
    """
    _refuse_if_changed(episode, before)
    _check_opening(episode, regions)
    first = episode.phase_changes.first()
    if first and episode.opened_on > first.since_on:
        raise errors.OpenedAfterFirstPhase("opened_on", first.since_on)
    episode.full_clean()
    episode.save()
    _keep_regions(episode, regions)
    for follower in settings.EPISODE_FOLLOWERS:
        import_string(follower)(episode)
    audit.record(by, "episode.edited", client=episode.client, subject=episode)
    return episode


@transaction.atomic
def change_phase(
    *, episode: Episode, phase: Phase, since_on: date, reason: str, by: User
) -> PhaseChange:
    """Begin another phase; discharged ends the episode, any other phase reopens it.

    Raises PhaseUnchanged, PhaseBeforeOpening, PhaseBeforeLastChange, DayInFuture.
    """
    Episode.objects.select_for_update().get(pk=episode.pk)
    present = current_phase(episode)
    if phase == present.phase:
        raise errors.PhaseUnchanged(present.phase, present.since_on)
    days.check_past("since_on", since_on, today=timezone.localdate())
    if since_on < episode.opened_on:
        raise errors.PhaseBeforeOpening("since_on", episode.opened_on)
    if since_on < present.since_on:
        raise errors.PhaseBeforeLastChange("since_on", present.since_on)
    change = _begin_phase(episode, phase, since_on=since_on, reason=reason, by=by)
    audit.record(by, "phase.changed", client=episode.client, subject=change)
    return change


@transaction.atomic
def note_episode_seen(*, episode: Episode, by: User) -> None:
    """Record that somebody read an episode of care."""
    audit.record(by, "episode.seen", client=episode.client, subject=episode)


def _check_opening(episode: Episode, regions: Sequence[AffectedRegion]) -> None:
    if not regions:
        raise errors.NoRegion
    _check_lived("opened_on", episode.opened_on, episode.client)


def _keep_regions(episode: Episode, regions: Sequence[AffectedRegion]) -> None:
    kept = {(wanted.region, wanted.side): wanted for wanted in regions}
    for known in episode.regions.all():
        wanted = kept.pop((known.region, known.side), None)
        if wanted is None:
            known.delete()
        elif wanted.involvement != known.involvement:
            known.involvement = wanted.involvement
            known.save(update_fields=["involvement"])
    for wanted in kept.values():
        wanted.episode = episode
        wanted.save()


def _begin_phase(
    episode: Episode, phase: Phase, *, since_on: date, reason: str, by: User
) -> PhaseChange:
    return PhaseChange.objects.create(
        episode=episode, phase=phase, since_on=since_on, reason=reason, by=by
    )


# The body


@transaction.atomic
def add_treatment(*, treatment: CancerTreatment, by: User) -> CancerTreatment:
    """Keep one cancer treatment. Raises DayInFuture, BeforeBirth."""
    client: Client = treatment.client  # type: ignore[attr-defined]
    if treatment.done_on:
        _check_lived("done_on", treatment.done_on, client)
    treatment.full_clean()
    treatment.save()
    audit.record(by, "treatment.added", client=client, subject=treatment)
    return treatment


@transaction.atomic
def remove_treatment(*, treatment: CancerTreatment, by: User) -> None:
    """Remove a treatment that was entered by mistake."""
    client: Client = treatment.client  # type: ignore[attr-defined]
    audit.record(by, "treatment.removed", client=client, subject=treatment)
    treatment.delete()


@transaction.atomic
def record_precaution(*, found: PrecautionFound, by: User) -> PrecautionFound:
    """Keep a precaution found on a day.

    Raises PrecautionAlreadyOpen, DayInFuture, BeforeBirth.
    """
    client = Client.objects.select_for_update(no_key=True).get(pk=found.client_id)
    _check_lived("found_on", found.found_on, client)
    standing = client.precautions.filter(precaution=found.precaution, cleared_on=None).first()
    if standing:
        raise errors.PrecautionAlreadyOpen(standing.found_on)
    found.found_by = by
    found.full_clean()
    found.save()
    audit.record(by, "precaution.found", client=client, subject=found)
    return found


@transaction.atomic
def clear_precaution(
    *, found: PrecautionFound, cleared_on: date, reason: str, by: User
) -> PrecautionFound:
    """End a precaution, for a reason.

    Raises PrecautionAlreadyCleared, ClearedBeforeFound, DayInFuture.
    """
    stored = PrecautionFound.objects.select_for_update().get(pk=found.pk)
    if stored.cleared_on:
        raise errors.PrecautionAlreadyCleared(stored.cleared_on)
    days.check_past("cleared_on", cleared_on, today=timezone.localdate())
    if cleared_on < stored.found_on:
        raise errors.ClearedBeforeFound("cleared_on", stored.found_on)
    stored.cleared_on, stored.cleared_by, stored.cleared_reason = cleared_on, by, reason
    stored.save(update_fields=["cleared_on", "cleared_by", "cleared_reason"])
    audit.record(by, "precaution.cleared", client=stored.client, subject=stored)
    return stored


# Rules shared by the above


def _check_lived(field: str, day: date, client: Client) -> None:
    days.check_lived(field, day, born_on=client.born_on, today=timezone.localdate())


def _refuse_if_changed(record: Client | Referrer | Episode, before: editing.Said) -> None:
    """Lock the stored record and compare it with what the person had before them."""
    stored = type(record)._default_manager.select_for_update().get(pk=record.pk)
    if not before or editing.differs(before, editing.said_by(stored, list(before))):
        raise errors.ChangedMeanwhile(stored)

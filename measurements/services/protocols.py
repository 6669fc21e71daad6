"""Writes about protocols. A protocol that has been used is superseded, never changed."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import IntegrityError, ProgrammingError, transaction
from django.utils import timezone
from psycopg.errors import RaiseException

from clinic.accounts.models import User
from clinic.audit import services as audit
from measurements.errors import ProtocolNameTaken, ProtocolRetired, ProtocolUsed
from measurements.models import GirthSession, Protocol, ProtocolStation
from measurements.protocol_plan import ProtocolPlan


def add_protocol(*, plan: ProtocolPlan, by: User) -> Protocol:
    """Put a new protocol into use. Raises ProtocolNameTaken."""
    with _refusals(plan.name), transaction.atomic():
        protocol = _keep(Protocol(), plan)
        audit.record(by, "protocol.added", subject=protocol)
    return protocol


def change_protocol(*, protocol: Protocol, plan: ProtocolPlan, by: User) -> Protocol:
    """Change a protocol that no session follows yet.

    Raises ProtocolUsed, ProtocolRetired, ProtocolNameTaken.
    """
    with _refusals(plan.name), transaction.atomic():
        protocol = _in_use(protocol)
        if GirthSession.objects.filter(protocol=protocol).exists():
            raise ProtocolUsed(protocol.name)
        ProtocolStation.objects.filter(protocol=protocol).delete()
        _keep(protocol, plan)
        audit.record(by, "protocol.changed", subject=protocol)
    return protocol


def supersede_protocol(*, protocol: Protocol, plan: ProtocolPlan, by: User) -> Protocol:
    """Retire a protocol and put its next version into use, both or neither.

    Sessions taken under the old one stay with it. Raises ProtocolRetired, ProtocolNameTaken.
    """
    with _refusals(plan.name), transaction.atomic():
        protocol = _in_use(protocol)
        protocol.retired_at = timezone.now()
        protocol.save(update_fields=["retired_at"])
        successor = _keep(Protocol(supersedes=protocol), plan)
        audit.record(by, "protocol.superseded", subject=successor)
    return successor


@transaction.atomic
def retire_protocol(*, protocol: Protocol, by: User) -> Protocol:
    """Take a protocol out of use; its sessions keep it. Raises ProtocolRetired."""
    protocol = _in_use(protocol)
    protocol.retired_at = timezone.now()
    protocol.save(update_fields=["retired_at"])
    audit.record(by, "protocol.retired", subject=protocol)
    return protocol


def _in_use(protocol: Protocol) -> Protocol:
    """The protocol, locked, so that no session can begin to follow it meanwhile."""
    locked = Protocol.objects.select_for_update().get(pk=protocol.pk)
    if locked.retired_at is not None:
        raise ProtocolRetired(locked.name)
    return locked


def _keep(protocol: Protocol, plan: ProtocolPlan) -> Protocol:
    protocol.name = plan.name
    protocol.limb = plan.limb
    protocol.start_landmark = plan.start_landmark
    protocol.end_handling = plan.end_handling
    protocol.save()
    ProtocolStation.objects.bulk_create(
        ProtocolStation(protocol=protocol, level_cm=level_cm, label=label)
        for level_cm, label in plan.stations
    )
    return protocol


@contextmanager
def _refusals(name: str) -> Iterator[None]:
    """The database's own refusals as broken rules; any other error passes through."""
    try:
        yield
    except IntegrityError as error:
        if "protocol_name_once_in_use" in str(error):
            raise ProtocolNameTaken(name) from error
        raise
    except ProgrammingError as error:
        if isinstance(error.__cause__, RaiseException):
            raise ProtocolUsed(name) from error
        raise

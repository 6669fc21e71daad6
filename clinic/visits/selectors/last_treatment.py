"""What was given at the visit before, to be offered again; its minutes are typed anew."""

from clinic.visits.desk import ServiceOffered, VisitDesk
from clinic.visits.models import TreatmentEntry


def last_services(desk: VisitDesk) -> tuple[ServiceOffered, ...]:
    """The services of the note before that are still offered, each once, in its order. One query.

    None while an absolute precaution bars treatment.
    """
    if desk.last_note is None or desk.precautions.barring:
        return ()
    given = TreatmentEntry.objects.filter(note=desk.last_note.id).order_by("place", "pk")
    offered = {each.id: each for each in desk.treatment.services}
    ids = dict.fromkeys(given.values_list("service_id", flat=True))
    return tuple(offered[service_id] for service_id in ids if service_id in offered)

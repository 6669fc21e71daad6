"""The note before a note, and what came into the record since."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from django.db.models import F, Q

from clinic.clients.models import AffectedRegion, PhaseChange, PrecautionFound
from clinic.common.vocabulary import Phase, Precaution
from clinic.visits.desk import ChangeSince, LastNote
from clinic.visits.models import VisitNote
from clinic.visits.words import VisitKind
from measurements.models import GirthSession
from measurements.selectors.findings import FindingsShown


def note_before(note: VisitNote) -> VisitNote | None:
    """The last signed note of the episode before this one, else the last drafted. One query.

    `regions_then` are the places that it named when it was signed, None of a draft.
    """
    is_before = Q(visited_on__lt=note.visited_on) | Q(
        visited_on=note.visited_on, begun_at__lt=note.begun_at
    )
    earlier = VisitNote.objects.filter(is_before, episode=note.episode_id).exclude(pk=note.pk)
    order = ("-was_signed", "-visited_on", "-begun_at")
    rows = earlier.annotate(
        was_signed=Q(signed_at__isnull=False), regions_then=F("signed__regions")
    )
    return rows.defer("signed").select_related("therapist").order_by(*order).first()


def last_note(before: VisitNote | None) -> LastNote | None:
    if before is None:
        return None
    return LastNote(
        id=before.pk,
        visited_on=before.visited_on,
        kind=VisitKind(before.kind),
        therapist=before.therapist.signature,
        plan=before.plan,
        state=before.state,
    )


def changes_since(
    before: VisitNote | None, *changes: Iterable[ChangeSince], until: date
) -> tuple[ChangeSince, ...]:
    """What is dated after the last visit, up to this one, oldest first; none without a visit."""
    if before is None:
        return ()
    told = (each for several in changes for each in several)
    since = (each for each in told if before.visited_on < each.on <= until)
    return tuple(sorted(since, key=lambda each: (each.on, each.text)))


def phase_changes(history: Sequence[PhaseChange]) -> Iterator[ChangeSince]:
    for each in history:
        yield ChangeSince(each.since_on, f"Phase: {Phase(each.phase).label}. {each.reason}")


def precaution_changes(found: Iterable[PrecautionFound]) -> Iterator[ChangeSince]:
    for each in found:
        label = Precaution(each.precaution).label
        yield ChangeSince(each.found_on, f"Precaution found: {label}")
        if each.cleared_on is not None:
            text = f"Precaution cleared: {label}. {each.cleared_reason}"
            yield ChangeSince(each.cleared_on, text)


def sessions_taped(sessions: Iterable[GirthSession]) -> Iterator[ChangeSince]:
    for each in sessions:
        label = each.get_limb_display().lower()
        yield ChangeSince(each.taken_on, f"Girths taped: {label}")


def looks_taken(
    regions: Iterable[AffectedRegion], latest: dict[int, FindingsShown]
) -> Iterator[ChangeSince]:
    for region in regions:
        if look := latest.get(region.pk):
            yield ChangeSince(look.found_on, f"Stage {look.stage.label} found: {region}")

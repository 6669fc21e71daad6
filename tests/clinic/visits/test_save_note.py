"""A draft saves itself: all that was typed is kept, in the note or beside it."""

from datetime import timedelta

import pytest

from clinic.audit.models import Entry
from clinic.clients.models import PhaseChange
from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Phase
from clinic.visits.errors import (
    AppointmentUnsuited,
    EpisodeClosed,
    NoteChangedMeanwhile,
    NoteGone,
    NoteKept,
    NothingToCopy,
    ServiceNotInUse,
    TreatmentMinutesOutOfRange,
    VisitDayWrong,
    VisitMinutesOutOfRange,
)
from clinic.visits.models import SetAside, VisitNote
from clinic.visits.red_flags import Sign
from clinic.visits.selectors.notes import notes_for, visit_desk
from clinic.visits.sentences import sentence
from clinic.visits.services.notes import (
    begin_note,
    copy_forward,
    discard_note,
    save_note,
    settle_texts,
)
from clinic.visits.timing_errors import MinutesTooMany
from clinic.visits.typed import NoteTyped, TreatmentTyped, as_json, from_json
from clinic.visits.words import Section, VisitKind
from tests.builders import make_client, make_episode, today
from tests.cast import Cast
from tests.clinic.scheduling.desk import booked
from tests.clinic.visits.charting import SAID, draft, ready, service, signed, treated, typed

pytestmark = pytest.mark.django_db


def words(text: str, **differences: object) -> NoteTyped:
    return typed(sections={Section.SUBJECTIVE: text}, treatments=(), **differences)


def test_what_was_typed_is_kept_and_the_revision_told(cast: Cast) -> None:
    note = draft(cast.therapist)
    what = typed(signs=frozenset({Sign.FEVER, Sign.REDNESS}))
    kept = save_note(note=note, typed=what, revision=0, by=cast.therapist)
    stored = VisitNote.objects.get(pk=note.pk)
    assert (kept.revision, stored.revision, stored.subjective) == (1, 1, SAID)
    assert stored.signs == ["fever", "redness"]
    rows = stored.treatments.values_list("service__code", "minutes")
    assert list(rows) == [("97140", 40), ("97535", 15)]


def test_saving_the_same_again_makes_no_revision_and_one_entry_a_person_is_logged(
    cast: Cast,
) -> None:
    note = draft(cast.therapist)
    for _ in range(3):
        kept = save_note(note=note, typed=typed(), revision=1 if _ else 0, by=cast.therapist)
    assert kept.revision == 1
    save_note(note=note, typed=words("a"), revision=1, by=cast.therapist)
    save_note(note=note, typed=words("ab"), revision=2, by=cast.other_therapist)
    saved = Entry.objects.filter(verb="note.saved", subject=f"visitnote:{note.pk}")
    assert sorted(saved.values_list("by__sign_in_name", flat=True)) == ["theo", "tilda"]


def test_a_section_that_was_not_typed_stays(cast: Cast) -> None:
    note = ready(cast.therapist)
    only = NoteTyped(visit_min=60, sections={Section.RESPONSE: "Softer."})
    save_note(note=note, typed=only, revision=note.revision, by=cast.therapist)
    stored = VisitNote.objects.get(pk=note.pk)
    assert (stored.subjective, stored.response) == (SAID, "Softer.")


def test_two_therapists_in_one_note_lose_nothing(cast: Cast) -> None:
    note = draft(cast.therapist)
    save_note(note=note, typed=words("From the first device."), revision=0, by=cast.therapist)
    with pytest.raises(NoteChangedMeanwhile) as refused:
        save_note(note=note, typed=words("From the second."), revision=0, by=cast.other_therapist)
    assert refused.value.typed.text(Section.SUBJECTIVE) == "From the second."
    assert "Theo Marsh" in sentence(refused.value)
    stored = notes_for(cast.other_therapist).get(pk=note.pk)
    desk = visit_desk(stored, cast.other_therapist)
    assert desk.text(Section.SUBJECTIVE) == "From the first device."
    own = desk.own_set_aside
    assert own
    assert own.typed.text(Section.SUBJECTIVE) == "From the second."
    # The colleague sees that there is another text, and that it is not hers to settle.
    theirs = visit_desk(stored, cast.therapist)
    assert theirs.own_set_aside is None
    assert [each.kept_by for each in theirs.set_aside] == ["Tilda Brook, OTR/L"]


def test_the_chosen_text_settles_what_was_set_aside_and_keeps_the_row(cast: Cast) -> None:
    note = draft(cast.therapist)
    save_note(note=note, typed=words("one"), revision=0, by=cast.therapist)
    with pytest.raises(NoteChangedMeanwhile):
        save_note(note=note, typed=words("two"), revision=0, by=cast.other_therapist)
    settle_texts(note=note, typed=words("one and two"), revision=1, by=cast.other_therapist)
    stored = notes_for(cast.other_therapist).get(pk=note.pk)
    assert stored.subjective == "one and two"
    assert visit_desk(stored, cast.other_therapist).set_aside == ()
    assert SetAside.objects.get().settled_at is not None


@pytest.mark.django_db(transaction=True)
def test_settling_upon_an_old_revision_sets_the_chosen_text_aside_as_well(cast: Cast) -> None:
    note = draft(cast.therapist)
    save_note(note=note, typed=words("one"), revision=0, by=cast.therapist)
    with pytest.raises(NoteChangedMeanwhile):
        settle_texts(note=note, typed=words("two"), revision=0, by=cast.other_therapist)
    kept = SetAside.objects.get()
    assert kept.settled_at is None
    assert kept.typed["texts"][-1]["sections"]["subjective"] == "two"


def test_a_stale_revision_with_the_same_text_is_no_conflict(cast: Cast) -> None:
    note = draft(cast.therapist)
    save_note(note=note, typed=typed(), revision=0, by=cast.therapist)
    again = save_note(note=note, typed=typed(), revision=0, by=cast.other_therapist)
    assert again.revision == 1
    assert not SetAside.objects.exists()


def test_a_stale_revision_with_other_minutes_is_one(cast: Cast) -> None:
    note = draft(cast.therapist)
    save_note(note=note, typed=typed(), revision=0, by=cast.therapist)
    other = typed(treatments=treated(("97140", 41), ("97535", 15)))
    with pytest.raises(NoteChangedMeanwhile):
        save_note(note=note, typed=other, revision=0, by=cast.other_therapist)


def test_a_second_text_set_aside_leaves_the_first_unless_it_holds_it(cast: Cast) -> None:
    note = draft(cast.therapist)
    save_note(note=note, typed=words("theirs"), revision=0, by=cast.therapist)
    for text in ("on the phone", "on the tablet", "on the tablet, longer"):
        with pytest.raises(NoteChangedMeanwhile):
            save_note(note=note, typed=words(text), revision=0, by=cast.other_therapist)
    own = visit_desk(note, cast.other_therapist).own_set_aside
    assert own
    assert own.typed.text(Section.SUBJECTIVE) == "on the tablet, longer"
    assert [each.text(Section.SUBJECTIVE) for each in own.earlier] == ["on the phone"]


def test_a_text_that_comes_after_the_signature_is_kept_beside_the_note(cast: Cast) -> None:
    note = signed(cast.therapist)
    with pytest.raises(NoteKept) as refused:
        save_note(note=note, typed=words("too late"), revision=1, by=cast.other_therapist)
    assert refused.value.was_set_aside
    assert "addendum" in sentence(refused.value)
    assert VisitNote.objects.get(pk=note.pk).subjective == SAID
    assert visit_desk(note, cast.other_therapist).own_set_aside


def test_a_text_for_a_discarded_draft_goes_back_to_who_typed_it(cast: Cast) -> None:
    note = draft(cast.therapist)
    discard_note(note=note, by=cast.other_therapist)
    with pytest.raises(NoteGone) as refused:
        save_note(note=note, typed=words("still mine"), revision=0, by=cast.therapist)
    assert refused.value.typed
    assert refused.value.typed.text(Section.SUBJECTIVE) == "still mine"


def test_typed_values_survive_json() -> None:
    what = NoteTyped(
        55,
        {Section.PLAN: "Go on"},
        frozenset({Section.PLAN}),
        (TreatmentTyped(3, 20, "left"),),
        frozenset({Sign.LUMP}),
    )
    assert from_json(as_json(what)) == what


@pytest.mark.parametrize(
    ("wrong", "kind"),
    [
        ({"visit_min": 0}, VisitMinutesOutOfRange),
        ({"visit_min": 481}, VisitMinutesOutOfRange),
        ({"minutes": -5}, TreatmentMinutesOutOfRange),
        ({"minutes": 481}, TreatmentMinutesOutOfRange),
        ({"minutes": 480, "times": 4}, MinutesTooMany),
        ({"service_id": 999_999_999, "minutes": 5}, ServiceNotInUse),
    ],
)
def test_absurd_minutes_are_refused_with_a_sentence_and_nothing_is_half_kept(
    cast: Cast, wrong: dict[str, int], kind: type[RuleBroken]
) -> None:
    note = ready(cast.therapist)
    rows = ()
    if "minutes" in wrong:
        one = TreatmentTyped(wrong.get("service_id", service().pk), wrong["minutes"])
        rows = (one,) * wrong.get("times", 1)
    what = typed(
        visit_min=wrong.get("visit_min", 60),
        treatments=rows,
        sections={Section.SUBJECTIVE: "not to be kept"},
    )
    with pytest.raises(kind) as refused:
        save_note(note=note, typed=what, revision=note.revision, by=cast.therapist)
    assert sentence(refused.value).endswith(".")
    stored = VisitNote.objects.get(pk=note.pk)
    assert (stored.subjective, stored.revision) == (SAID, note.revision)
    assert stored.treatments.count() == 2


def test_a_service_is_entered_only_on_days_it_was_in_use(cast: Cast) -> None:
    old = service("97035")
    old.active_until = today() - timedelta(days=1)
    old.save()
    note = draft(cast.therapist)
    with pytest.raises(ServiceNotInUse):
        save_note(
            note=note, typed=typed(treatments=treated(("97035", 8))), revision=0, by=cast.therapist
        )


# Begin


@pytest.mark.parametrize("days", [1, -3000])
def test_a_visit_is_neither_to_come_nor_before_the_episode(cast: Cast, days: int) -> None:
    with pytest.raises(VisitDayWrong) as refused:
        draft(cast.therapist, visited_on=today() + timedelta(days=days))
    assert refused.value.is_future is (days > 0)


def test_no_note_is_begun_after_discharge(cast: Cast) -> None:
    episode = make_episode(make_client(), cast.therapist)
    PhaseChange.objects.create(
        episode=episode,
        phase=Phase.DISCHARGED,
        since_on=today() - timedelta(days=1),
        reason="Goals met",
        by=cast.therapist,
    )
    with pytest.raises(EpisodeClosed):
        draft(cast.therapist, episode)


def test_an_appointment_has_one_note_however_often_it_is_begun(cast: Cast) -> None:
    client = make_client()
    episode = make_episode(client, cast.therapist)
    slot = booked(cast.therapist, today(), client=client)
    first = draft(cast.therapist, episode, appointment=slot)
    second = draft(cast.other_therapist, episode, appointment=slot)
    assert first.pk == second.pk
    assert first.visit_min == 60


def test_without_an_appointment_an_own_draft_of_the_day_is_opened_again(cast: Cast) -> None:
    episode = make_episode(make_client(), cast.therapist)
    assert draft(cast.therapist, episode).pk == draft(cast.therapist, episode).pk
    assert draft(cast.other_therapist, episode).pk != draft(cast.therapist, episode).pk


def test_an_appointment_of_another_client_is_refused(cast: Cast) -> None:
    slot = booked(cast.therapist, today(), client=make_client(family_name="Other"))
    episode = make_episode(make_client(), cast.therapist)
    with pytest.raises(AppointmentUnsuited):
        begin_note(
            episode=episode,
            kind=VisitKind.TREATMENT,
            visited_on=today(),
            by=cast.therapist,
            appointment=slot,
        )


# Copy forward


def test_copying_marks_what_was_copied_until_it_is_touched(cast: Cast) -> None:
    episode = make_episode(make_client(), cast.therapist)
    before = signed(cast.therapist, episode, visited_on=today() - timedelta(days=3))
    note = draft(cast.therapist, episode)
    note = copy_forward(note=note, sections=list(Section), by=cast.therapist)
    assert note.copied == ["plan", "subjective"]
    assert note.copied_from_id == before.pk
    # The page says that both are still copied; the record compares the texts.
    claimed = frozenset({Section.SUBJECTIVE, Section.PLAN})
    what = typed(sections={Section.PLAN: "Changed."}, copied=claimed)
    save_note(note=note, typed=what, revision=note.revision, by=cast.therapist)
    desk = visit_desk(VisitNote.objects.get(pk=note.pk), cast.therapist)
    assert {each.section for each in desk.sections if each.is_copied} == {Section.SUBJECTIVE}


def test_copying_leaves_what_was_written_already(cast: Cast) -> None:
    episode = make_episode(make_client(), cast.therapist)
    signed(cast.therapist, episode, visited_on=today() - timedelta(days=3))
    note = draft(cast.therapist, episode)
    note = save_note(
        note=note,
        typed=NoteTyped(sections={Section.PLAN: "New plan"}),
        revision=0,
        by=cast.therapist,
    )
    note = copy_forward(note=note, sections=list(Section), by=cast.therapist)
    assert (note.plan, note.copied) == ("New plan", ["subjective"])
    with pytest.raises(NothingToCopy):
        copy_forward(note=note, sections=[Section.PLAN], by=cast.therapist)


def test_the_first_note_has_nothing_to_copy(cast: Cast) -> None:
    with pytest.raises(NothingToCopy):
        copy_forward(note=draft(cast.therapist), sections=list(Section), by=cast.therapist)


def test_a_signed_note_is_not_discarded(cast: Cast) -> None:
    with pytest.raises(NoteKept):
        discard_note(note=signed(cast.therapist), by=cast.therapist)

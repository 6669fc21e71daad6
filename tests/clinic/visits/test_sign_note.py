"""Signing: with every part, once, in one's own name; co-signed and added to afterwards."""

from datetime import timedelta

import pytest

from clinic.accounts.models import User
from clinic.clients.models import PrecautionFound
from clinic.common.vocabulary import Precaution, Role
from clinic.visits.errors import (
    CannotSign,
    CosignerUnsuited,
    Lack,
    MissingPart,
    NoCosignatureWanted,
    NoteChangedMeanwhile,
    NoteNotSigned,
    RedFlagNotThere,
    TextMissing,
)
from clinic.visits.models import VisitNote
from clinic.visits.red_flags import RedFlag, RedFlagKind, Sign
from clinic.visits.seal import is_intact
from clinic.visits.selectors.notes import note_sheet, notes_for, unsigned_notes, visit_desk
from clinic.visits.selectors.sheets import LATE_AFTER_DAYS
from clinic.visits.sentences import sentence
from clinic.visits.services.notes import save_note
from clinic.visits.services.signing import (
    acknowledge_red_flag,
    add_addendum,
    cosign_note,
    sheet_to_sign,
    sign_note,
)
from clinic.visits.timing import WarningKind
from clinic.visits.words import NoteState, Section, VisitKind
from tests.builders import today
from tests.cast import Cast, make_staff
from tests.clinic.visits.charting import (
    PLANNED,
    SAID,
    asked,
    draft,
    ready,
    service,
    signed,
    treated,
    typed,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def student(cast: Cast) -> User:
    made = make_staff("sam", "Sam Reed", Role.THERAPIST, "SPT")
    made.needs_cosignature = True
    made.save()
    return made


def missing_of(note: VisitNote, by: User) -> tuple[MissingPart, ...]:
    with pytest.raises(CannotSign) as refused:
        sign_note(note=note, revision=note.revision, by=by)
    assert VisitNote.objects.get(pk=note.pk).signed_at is None
    assert sentence(refused.value).endswith(".")
    return refused.value.missing


def lacks_of(note: VisitNote, by: User) -> list[Lack]:
    return [part.lack for part in missing_of(note, by)]


def test_a_whole_note_is_signed_with_name_credentials_and_time(cast: Cast) -> None:
    note = signed(cast.therapist)
    assert note.state is NoteState.SIGNED
    assert note.signature == "Theo Marsh, PT, DPT"
    assert note.signed_at is not None
    assert not note.is_late_entry
    assert note.precautions_asked is not None
    assert is_intact(note.signed, seal=note.seal)


LACKING = {
    "subjective": ({"sections": {Section.SUBJECTIVE: "  "}}, Lack.SUBJECTIVE),
    "plan": ({"sections": {Section.PLAN: ""}}, Lack.PLAN),
    "treatment": ({"treatments": ()}, Lack.TREATMENT),
    "visit minutes": ({"visit_min": None}, Lack.VISIT_MIN),
    "minutes past the visit": ({"visit_min": 54}, Lack.PAST_VISIT),
    "red flag": ({"signs": frozenset({Sign.FEVER})}, Lack.RED_FLAG),
}


@pytest.mark.parametrize("case", LACKING)
def test_a_note_is_not_signed_while_a_part_is_missing(cast: Cast, case: str) -> None:
    what, lack = LACKING[case]
    assert lacks_of(ready(cast.therapist, typed=dict(what)), cast.therapist) == [lack]


def test_a_note_is_not_signed_before_the_precautions_were_asked_at_this_visit(cast: Cast) -> None:
    note = draft(cast.therapist, visited_on=today() - timedelta(days=1))
    note = save_note(note=note, typed=typed(), revision=0, by=cast.therapist)
    # Asked on another day does not count for this visit.
    asked(draft(cast.therapist, note.episode), cast.therapist)
    assert lacks_of(note, cast.therapist) == [Lack.PRECAUTIONS]


def test_every_missing_part_is_told_at_once_in_the_order_of_the_page(cast: Cast) -> None:
    assert lacks_of(draft(cast.therapist), cast.therapist) == [
        Lack.PRECAUTIONS,
        Lack.SUBJECTIVE,
        Lack.PLAN,
        Lack.TREATMENT,
    ]


def test_an_evaluation_needs_no_treatment(cast: Cast) -> None:
    assert signed(cast.therapist, kind=VisitKind.EVALUATION, typed={"treatments": ()}).signed_at


def test_minutes_past_the_visit_warn_while_drafting_and_refuse_the_signature(cast: Cast) -> None:
    note = ready(cast.therapist, typed={"visit_min": 54})
    desk = visit_desk(note, cast.therapist)
    assert [each.kind for each in desk.treatment.warnings] == [WarningKind.PAST_VISIT]
    assert missing_of(note, cast.therapist)[0].because == ("55 minutes of treatment, 54 of visit",)


def found(note: VisitNote, precaution: Precaution, by: User) -> PrecautionFound:
    return PrecautionFound.objects.create(
        client=note.episode.client,
        precaution=precaution,
        found_on=note.visited_on,
        found_by=by,
    )


def test_an_absolute_precaution_stops_treatment_and_gives_its_reason(cast: Cast) -> None:
    note = ready(cast.therapist)
    found(note, Precaution.ACUTE_CLOT, cast.therapist)
    part = missing_of(note, cast.therapist)[0]
    assert part.lack is Lack.BARRED
    assert "clot" in part.because[0]
    # Without treatment the visit can be charted, and signed for what it was.
    none = typed(treatments=())
    note = save_note(note=note, typed=none, revision=note.revision, by=cast.therapist)
    assert sign_note(note=note, revision=note.revision, by=cast.therapist).signed_at


def test_a_precaution_cleared_on_the_day_no_longer_stops_it(cast: Cast) -> None:
    note = ready(cast.therapist)
    standing = found(note, Precaution.ACUTE_CLOT, cast.therapist)
    standing.cleared_on, standing.cleared_by = note.visited_on, cast.lead
    standing.cleared_reason = "Ultrasound clear"
    standing.save()
    assert sign_note(note=note, revision=note.revision, by=cast.therapist).signed_at


def test_a_red_flag_is_acknowledged_with_what_was_done_and_then_signed(cast: Cast) -> None:
    note = ready(cast.therapist, typed={"signs": frozenset({Sign.FEVER})})
    flag = visit_desk(note, cast.therapist).open_red_flags[0].flag
    seen = acknowledge_red_flag(note=note, flag=flag, action="Phoned.", by=cast.therapist)
    assert (seen.because, seen.action) == ("fever, chills or a flu-like feeling", "Phoned.")
    note = sign_note(note=note, revision=note.revision, by=cast.therapist)
    assert note_sheet(note).red_flags[0].action == "Phoned."


def test_a_flag_that_the_record_does_not_raise_is_not_acknowledged(cast: Cast) -> None:
    note = ready(cast.therapist, typed={"signs": frozenset({Sign.FEVER})})
    clot = RedFlag(RedFlagKind.CLOT, ("invented",))
    with pytest.raises(RedFlagNotThere):
        acknowledge_red_flag(note=note, flag=clot, action="x", by=cast.therapist)
    fever = RedFlag(RedFlagKind.INFECTION, ())
    with pytest.raises(TextMissing):
        acknowledge_red_flag(note=note, flag=fever, action=" ", by=cast.therapist)
    acknowledge_red_flag(note=note, flag=fever, action="Phoned.", by=cast.therapist)
    with pytest.raises(RedFlagNotThere):
        acknowledge_red_flag(note=note, flag=fever, action="Again.", by=cast.therapist)


def test_what_somebody_has_not_read_is_not_signed(cast: Cast) -> None:
    note = ready(cast.therapist)
    save_note(note=note, typed=typed(visit_min=61), revision=1, by=cast.other_therapist)
    with pytest.raises(NoteChangedMeanwhile):
        sign_note(note=note, revision=1, by=cast.therapist)


def test_an_own_text_set_aside_is_chosen_before_signing(cast: Cast) -> None:
    note = ready(cast.therapist)
    with pytest.raises(NoteChangedMeanwhile):
        save_note(note=note, typed=typed(visit_min=58), revision=0, by=cast.therapist)
    assert lacks_of(note, cast.therapist) == [Lack.SET_ASIDE]


# Late entry


@pytest.mark.parametrize(
    ("days", "is_late"), [(LATE_AFTER_DAYS, False), (LATE_AFTER_DAYS + 1, True)]
)
def test_a_note_signed_days_after_the_visit_is_marked_late(
    cast: Cast, days: int, is_late: bool
) -> None:
    note = signed(cast.therapist, visited_on=today() - timedelta(days=days))
    assert note.is_late_entry is is_late
    assert note_sheet(note).is_late_entry is is_late


# Co-signature


def test_a_students_note_waits_for_a_colleague_who_then_stands_behind_it(
    cast: Cast, student: User
) -> None:
    note = signed(student)
    assert note.state is NoteState.AWAITING_COSIGNATURE
    assert visit_desk(note, cast.therapist).user_may_cosign
    assert note in unsigned_notes(cast.therapist)
    cosigned = cosign_note(note=note, by=cast.therapist)
    assert cosigned.state is NoteState.SIGNED
    assert cosigned.cosignature == "Theo Marsh, PT, DPT"
    assert note_sheet(cosigned).cosignature == "Theo Marsh, PT, DPT"
    assert note not in unsigned_notes(cast.therapist)
    assert (cosigned.signed, cosigned.seal) == (note.signed, note.seal)
    with pytest.raises(NoCosignatureWanted):
        cosign_note(note=note, by=cast.lead)


def test_neither_the_signer_nor_another_student_co_signs(cast: Cast, student: User) -> None:
    note = signed(student)
    other = make_staff("sue", "Sue Pike", Role.THERAPIST, "SPT")
    other.needs_cosignature = True
    other.save()
    for who in (student, other, cast.front_desk):
        with pytest.raises(CosignerUnsuited) as refused:
            cosign_note(note=note, by=who)
        assert refused.value.is_signer is (who == student)
        assert not visit_desk(note, who).user_may_cosign


def test_a_clinicians_own_note_and_a_draft_take_no_co_signature(cast: Cast) -> None:
    with pytest.raises(NoCosignatureWanted):
        cosign_note(note=signed(cast.therapist), by=cast.lead)
    with pytest.raises(NoteNotSigned):
        cosign_note(note=draft(cast.therapist), by=cast.lead)


# After the signature


def test_addenda_are_dated_signed_and_stand_under_the_note(cast: Cast) -> None:
    note = signed(cast.therapist)
    add_addendum(note=note, text=" The client called. ", by=cast.other_therapist)
    sheet = note_sheet(note)
    assert [(each.text, each.signature) for each in sheet.addenda] == [
        ("The client called.", "Tilda Brook, OTR/L")
    ]
    assert sheet.addenda[0].written_at > sheet.signed_at
    with pytest.raises(TextMissing):
        add_addendum(note=note, text=" \n ", by=cast.therapist)


def test_an_addendum_settles_the_text_that_came_too_late(cast: Cast) -> None:
    note = signed(cast.therapist)
    with pytest.raises(Exception, match=str(note.pk)):
        save_note(note=note, typed=typed(visit_min=59), revision=1, by=cast.therapist)
    add_addendum(note=note, text="It took 59 minutes.", by=cast.therapist)
    assert visit_desk(note, cast.therapist).set_aside == ()


def test_the_sheet_shows_what_was_signed_and_not_what_the_lists_say_now(cast: Cast) -> None:
    note = signed(cast.therapist)
    kept = service()
    kept.name, kept.is_timed = "renamed", False
    kept.save()
    client = note.episode.client
    client.family_name = "Renamed"
    client.save()
    sheet = note_sheet(notes_for(cast.therapist).get(pk=note.pk))
    assert (sheet.treatments[0].name, sheet.treatments[0].is_timed) == ("hands-on drainage", True)
    assert sheet.client_name == "Marguerite Ångström"
    assert (sheet.timing.timed_min, sheet.timing.timed_units) == (55, 4)
    assert [each.text for each in sheet.sections] == [SAID, PLANNED]
    assert sheet.is_intact


def test_the_last_look_shows_the_sheet_as_it_will_be(cast: Cast) -> None:
    note = ready(cast.therapist)
    look = sheet_to_sign(visit_desk(note, cast.therapist), cast.therapist)
    note = sign_note(note=note, revision=note.revision, by=cast.therapist)
    final = note_sheet(note)
    for name in ("sections", "treatments", "timing", "blocks", "signature", "is_late_entry"):
        assert getattr(look, name) == getattr(final, name), name


def test_copied_and_untouched_text_is_signed_as_such(cast: Cast) -> None:
    note = ready(cast.therapist)
    VisitNote.objects.filter(pk=note.pk).update(copied=["plan"])
    note = sign_note(note=note, revision=note.revision, by=cast.therapist)
    assert [each.is_copied for each in note_sheet(note).sections] == [False, True]


def test_timed_and_untimed_services_are_counted_apart(cast: Cast) -> None:
    rows = treated(("97140", 25), ("97016", 30))
    desk = visit_desk(ready(cast.therapist, typed={"treatments": rows}), cast.therapist)
    assert [(line.code, line.units) for line in desk.treatment.lines] == [
        ("97140", 2),
        ("97016", 1),
    ]
    assert (desk.treatment.count.timed_min, desk.treatment.count.treatment_min) == (25, 55)

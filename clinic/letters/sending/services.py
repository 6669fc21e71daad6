"""Writes about approved letters on their way. The letters themselves are never touched."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import Practice, User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.letters.models import ProgressLetter
from clinic.letters.sending import errors
from clinic.letters.sending.models import Batch, Sending
from clinic.letters.sending.posting import Piece, posting_order
from clinic.letters.sending.selectors import (
    LetterToSend,
    chosen_letters,
    last_print,
    letter_of,
    sendings_of,
)
from clinic.letters.sending.ways import WITH_ADDRESS, Decision, Output, State, Way, way_of

UNIQUE_VIOLATION = "23505"


@dataclass(frozen=True)
class Chosen:
    """Letters a person wants to send together, and what was decided about single ones.

    `noted` is how letters had gone that were sent before, or that they are not to be sent.
    """

    letter_ids: tuple[UUID, ...]
    output: Output
    two_sided: bool = False
    address_sheets: bool = False
    note: str = ""
    noted: Way = Way.NONE
    decisions: Mapping[UUID, Decision] = field(default_factory=dict)
    reasons: Mapping[UUID, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Going:
    """One letter with the way it goes and the lines it goes to."""

    letter: LetterToSend
    way: Way
    addressee: tuple[str, ...]
    needs_sheet: bool = False
    note: str = ""
    resend_reason: str = ""

    @property
    def reached_at(self) -> str:
        referrer = self.letter.referrer
        return {Way.FAX: referrer.fax, Way.EMAIL: referrer.email}.get(self.way, "")

    @property
    def piece(self) -> Piece:
        letter = self.letter
        return Piece(
            letter_id=letter.id,
            referrer_id=letter.referrer.pk,
            way=self.way,
            addressee="\n".join(self.addressee),
            addressee_folded=letter.referrer.folded_name,
            client_folded=letter.client_folded,
            approved_at=letter.approved_at.isoformat(),
        )


@transaction.atomic
def make_batch(*, chosen: Chosen, by: User) -> Batch:
    """Take those of the chosen letters that nobody has sent; the others are left alone.

    Raises NothingToSend, ReasonMissing, DecisionMissing, CannotGo, AlreadyOnItsWay.
    """
    _lock(chosen.letter_ids)
    letters = chosen_letters(chosen.letter_ids)
    if not letters:
        raise errors.NothingToSend
    if chosen.output is Output.NOTED and not chosen.note:
        raise errors.ReasonMissing("note")
    going = [_going(letter, chosen) for letter in letters]
    _refuse_what_cannot_go(going)
    return _written_down(going, chosen, by)


def _lock(letter_ids: Collection[UUID]) -> None:
    """Hold the letters: a second person who takes the same ones waits, then finds them taken."""
    rows = ProgressLetter.objects.select_for_update(of=("self",)).filter(pk__in=letter_ids)
    list(rows.order_by("pk").values_list("pk", flat=True))


def _going(letter: LetterToSend, chosen: Chosen) -> Going:
    if chosen.output is Output.NOTED:
        return Going(letter, chosen.noted, letter.address, note=chosen.note)
    reason = chosen.reasons.get(letter.id, "")
    if not letter.client_agrees and not reason:
        raise errors.ReasonMissing(letter.reason_field)
    way = way_of(chosen.output, letter.referrer.delivery)
    note = "" if letter.client_agrees else reason
    if way not in WITH_ADDRESS or not letter.has_moved:
        return Going(letter, way, letter.address, note=note)
    match chosen.decisions.get(letter.id):
        case Decision.PRESENT:
            return Going(letter, way, letter.address, needs_sheet=True, note=note)
        case Decision.APPROVED:
            return Going(letter, way, letter.in_letter, note=note)
    raise errors.DecisionMissing(letter.decide_field)


def _refuse_what_cannot_go(going: Iterable[Going]) -> None:
    """Raises CannotGo with everybody who lacks an address, a fax number or an agreement."""
    lacking: dict[str, set[str]] = {}
    for each in going:
        if why := _lack(each):
            lacking.setdefault(why, set()).add(str(each.letter.referrer))
    for why, names in lacking.items():
        raise errors.CannotGo(tuple(sorted(names)), why)


def _lack(going: Going) -> str:
    letter = going.letter
    if going.way is Way.POST and not letter.can_be_posted:
        return "address"
    if going.way is Way.FAX and going.reached_at == "":
        return "fax"
    return "mail" if going.way is Way.EMAIL and not letter.may_be_mailed else ""


def _written_down(going: Iterable[Going], chosen: Chosen, by: User) -> Batch:
    practice, now = Practice.objects.first() or Practice(), timezone.now()
    batch = Batch.objects.create(
        output=chosen.output,
        two_sided=chosen.two_sided,
        address_sheets=chosen.address_sheets,
        paper_size=practice.paper_size,
        note=chosen.note,
        made_by=by,
        made_at=now,
    )
    by_letter = {each.letter.id: each for each in going}
    order = posting_order(each.piece for each in by_letter.values())
    rows = [
        _sending(by_letter[piece.letter_id], place, batch)
        for place, piece in enumerate(order, start=1)
    ]
    _keep(rows)
    for row in rows:
        verb = VERBS_OF[Output(batch.output)] if row.way != Way.NONE else "letter.kept_back"
        client_id = by_letter[row.letter_id].letter.client_id
        audit.record(by, verb, client=Client(pk=client_id), subject=row)
    return batch


# What is kept in the record when a batch is made.
VERBS_OF = {
    Output.PRINT: "letter.put_in_batch",
    Output.ZIP: "letter.put_in_batch",
    Output.MAIL: "letter.put_in_batch",
    Output.NOTED: "letter.noted_as_sent",
}


def _sending(going: Going, place: int, batch: Batch) -> Sending:
    is_sent = batch.output == Output.NOTED and going.way is not Way.NONE
    return Sending(
        batch=batch,
        letter_id=going.letter.id,
        referrer=going.letter.referrer,
        place=place,
        way=going.way,
        addressee="\n".join(going.addressee),
        reached_at=going.reached_at,
        needs_sheet=going.needs_sheet,
        resend_reason=going.resend_reason,
        note=going.note,
        tried_at=batch.made_at if is_sent and going.way is Way.EMAIL else None,
        sent_at=batch.made_at if is_sent else None,
        sent_by=batch.made_by if is_sent else None,
    )


def _keep(rows: Iterable[Sending]) -> None:
    try:
        with transaction.atomic():
            Sending.objects.bulk_create(rows)
    except IntegrityError as error:
        if getattr(error.__cause__, "sqlstate", None) != UNIQUE_VIOLATION:
            raise
        raise errors.AlreadyOnItsWay from error


@transaction.atomic
def resend(*, sending: Sending, reason: str, by: User) -> Batch:
    """Print a letter that was sent once more, to the present address.

    Raises ReasonMissing, CannotGo, AlreadyOnItsWay (also for one that never went: it is on the
    list, or was taken off it for a reason).
    """
    if not reason:
        raise errors.ReasonMissing("reason")
    _lock([sending.letter_id])
    if Sending.objects.get(pk=sending.pk).state is not State.SENT:
        raise errors.AlreadyOnItsWay
    letter = letter_of(sending)
    way = way_of(Output.PRINT, letter.referrer.delivery)
    again = Going(
        letter,
        way,
        letter.address,
        needs_sheet=letter.has_moved and way in WITH_ADDRESS,
        resend_reason=reason,
    )
    _refuse_what_cannot_go([again])
    before = last_print()  # the printer has not changed since
    two_sided = before is not None and before.two_sided
    chosen = Chosen((letter.id,), Output.PRINT, two_sided=two_sided, note=reason)
    return _written_down([again], chosen, by)


@transaction.atomic
def confirm_sent(*, batch: Batch, sending_ids: Collection[UUID], by: User) -> int:
    """Keep that somebody posted, faxed or handed over these; how many. Raises NotConfirmed."""
    rows = [row for row in _held(batch, sending_ids, by) if row.state is State.WAITING]
    rows = [row for row in rows if row.way_word is not Way.EMAIL]
    if not rows:
        raise errors.NotConfirmed
    ids = [row.pk for row in rows]
    Sending.objects.filter(pk__in=ids).update(sent_at=timezone.now(), sent_by=by)
    _record(rows, "letter.sent", by)
    return len(rows)


@transaction.atomic
def put_back(*, batch: Batch, sending_ids: Collection[UUID], reason: str, by: User) -> int:
    """Put letters back on the list; how many. Raises NotConfirmed, ReasonMissing, TooLate."""
    if not reason:
        raise errors.ReasonMissing("reason")
    rows = [row for row in _held(batch, sending_ids, by) if is_standing(row)]
    if not rows:
        raise errors.NotConfirmed
    if not all(may_be_put_back(row) for row in rows):
        raise errors.TooLate
    Sending.objects.filter(pk__in=[row.pk for row in rows]).update(
        put_back_at=timezone.now(), put_back_by=by, put_back_reason=reason
    )
    _record(rows, "letter.sending_undone", by)
    return len(rows)


def is_standing(row: Sending) -> bool:
    return row.state not in {State.FAILED, State.PUT_BACK}


def may_be_put_back(row: Sending) -> bool:
    """What waits, any time; what is confirmed, on its day; an e-mail that was tried, never."""
    if row.way_word is Way.EMAIL and row.tried_at:
        return False
    return row.sent_at is None or timezone.localdate(row.sent_at) == timezone.localdate()


def _held(batch: Batch, sending_ids: Collection[UUID], by: User) -> list[Sending]:
    """The batch's rows among the ids, held until the transaction ends."""
    held = Sending.objects.select_for_update().filter(batch=batch, pk__in=sending_ids)
    ids = set(held.order_by("pk").values_list("pk", flat=True))
    return [row for row in sendings_of(batch, by) if row.pk in ids]


def _record(rows: Iterable[Sending], verb: str, by: User) -> None:
    for row in rows:
        audit.record(by, verb, client=row.letter.episode.client, subject=row)


@transaction.atomic
def record_taking_out(*, sendings: Iterable[Sending], by: User) -> None:
    """Note, client by client, that the letters of a batch were taken out to print or as files."""
    _record(sendings, "letter.batch_taken_out", by)

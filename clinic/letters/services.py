"""Writes about letters of every kind: compile, edit, approve, discard. What is sent stays."""

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import date, datetime

from django.db import DatabaseError, IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode, Referrer
from clinic.letters import errors
from clinic.letters.compile import LETTER_METHOD, Occasion, progress_summary
from clinic.letters.kinds import LetterKind
from clinic.letters.models import ProgressLetter, RunLetter
from clinic.letters.pdf import letter_pdf
from clinic.letters.proposals import proposed_texts
from clinic.letters.runs.words import RowState
from clinic.letters.selectors import draft_of
from clinic.letters.sheet import TEXT_FIELDS, Sheet, Texts, sheet
from clinic.letters.summary import ProgressSummary, as_json
from clinic.visits.services.reported import note_report

RAISED_BY_TRIGGER = "P0001"
LETTER = LetterKind.LETTER


@transaction.atomic
def compile_letter(
    *,
    episode: Episode,
    period_from: date,
    period_to: date,
    by: User,
    kind: LetterKind = LETTER,
) -> ProgressLetter:
    """Begin a draft of a kind with texts proposed from the record.

    Raises DraftExists, NoReferrer, ReferrerGone, ClientDeclines, PeriodBackwards, PeriodInFuture,
    NothingTaped.
    """
    period = (period_from, period_to)
    return keep_draft(begun=begin_letter(episode, period, kind=kind, by=by), by=by)


@dataclass(frozen=True)
class Begun:
    """A draft that is not kept yet, and the summary its texts were proposed from."""

    letter: ProgressLetter
    summary: ProgressSummary


def begin_letter(
    episode: Episode, period: tuple[date, date], *, by: User, kind: LetterKind = LETTER
) -> Begun:
    """A draft from the record, without keeping it. Raises as `compile_letter`."""
    _check_period(*period)
    referrer = reader_of(episode, kind)
    _refuse_second_draft(episode, kind)
    occasion = Occasion(referrer, *period, timezone.localdate(), by, kind)
    summary = progress_summary(episode, occasion)
    letter = ProgressLetter(
        kind=kind,
        episode=episode,
        referrer=referrer,
        period_from=period[0],
        period_to=period[1],
        compiled_by=by,
        **asdict(proposed_texts(summary)),
    )
    return Begun(letter, summary)


@transaction.atomic
def keep_draft(*, begun: Begun, by: User) -> ProgressLetter:
    """Keep a draft that was begun. Raises DraftExists."""
    _save_draft(begun.letter)
    audit.record(by, "letter.compiled", client=begun.letter.episode.client, subject=begun.letter)
    return begun.letter


def reader_of(episode: Episode, kind: LetterKind = LETTER) -> Referrer | None:
    """Whom it goes to: the episode's referrer, else the client's.

    A report is the payer's business: it needs no referrer, and a client who wants no letters to
    go to the referrer has one all the same, without the referrer's name. Raises NoReferrer,
    ReferrerGone, ClientDeclines for the other kinds.
    """
    agrees = episode.client.agrees_to_letters
    referrer = episode.referrer or episode.client.referrer
    if kind is LetterKind.REPORT:
        return referrer if agrees else None
    if not agrees:
        raise errors.ClientDeclines
    if referrer is None:
        raise errors.NoReferrer
    if not referrer.is_active:
        raise errors.ReferrerGone(str(referrer))
    return referrer


def _check_reader(letter: ProgressLetter) -> None:
    """The draft goes to whom the record names today, or is not approved."""
    reader = reader_of(letter.episode, letter.kind_word)
    if letter.referrer is None:
        return
    if not letter.episode.client.agrees_to_letters:
        raise errors.ClientDeclines  # a report compiled to the referrer before the client declined
    if reader != letter.referrer:
        raise errors.ReferrerChanged(now=str(reader), in_draft=str(letter.referrer))


def _check_period(period_from: date, period_to: date) -> None:
    if period_to > timezone.localdate():
        raise errors.PeriodInFuture
    if period_to < period_from:
        raise errors.PeriodBackwards


def _refuse_second_draft(episode: Episode, kind: LetterKind) -> None:
    if draft := draft_of(episode, kind):
        raise errors.DraftExists(draft)


def _save_draft(letter: ProgressLetter) -> None:
    """Two people may compile at once: the second is told of the first one's draft."""
    try:
        with transaction.atomic():
            letter.save(force_insert=True)
    except IntegrityError:
        _refuse_second_draft(letter.episode, letter.kind_word)
        raise


@transaction.atomic
def edit_letter(
    *, letter: ProgressLetter, texts: Texts, edited_at: datetime, by: User
) -> ProgressLetter:
    """Keep a draft's typed texts. `edited_at` is that of the draft the person has open.

    Nothing is written when nothing changed. Raises LetterKept, LetterGone, LetterChanged.
    """
    stored = _locked(letter)
    if texts_of(stored) == texts:
        return stored
    if stored.edited_at != edited_at:
        raise errors.LetterChanged(stored)
    for name in TEXT_FIELDS:
        setattr(stored, name, getattr(texts, name))
    with _kept_letters():
        stored.save(update_fields=[*TEXT_FIELDS, "edited_at"])
    audit.record(by, "letter.edited", client=stored.episode.client, subject=stored)
    return stored


@transaction.atomic
def approve_letter(*, letter: ProgressLetter, digest: str, by: User) -> ProgressLetter:
    """Print the letter and keep its bytes, hash, summary and method for good, or nothing at all.

    `digest` is that of the sheet the person approved. The treatment days that a report or a
    discharge summary covers count as reported from now on. Raises LetterKept, LetterChanged,
    NotPrinted, LetterTooLong, NothingTaped, NeedUnsaid, MayNotApprove, ReferrerChanged, and as
    `reader_of`.
    """
    stored = _locked(letter)
    check_may_approve(stored, by)
    final = final_sheet(stored, by)
    if final.digest != digest:
        raise errors.LetterChanged(stored)
    stored.pdf = letter_pdf(final)
    stored.pdf_sha256 = hashlib.sha256(stored.pdf).hexdigest()
    stored.summary = as_json(final.summary)
    stored.method = LETTER_METHOD
    stored.approved_by, stored.approved_at = by, timezone.now()
    with _kept_letters():
        stored.save()
    if stored.kind_word.is_report:
        note_report(episode=stored.episode, until_on=stored.period_to, by=by)
    audit.record(by, "letter.approved", client=stored.episode.client, subject=stored)
    return stored


def check_may_approve(letter: ProgressLetter, by: User) -> None:
    """A report is the clinician's, not the assistant's, and says why care goes on.

    Source: CMS Medicare Benefit Policy Manual (Pub. 100-02), chapter 15, 220.3 D. Raises
    MayNotApprove, NeedUnsaid. The reader is as in the record: raises ReferrerChanged and as
    `reader_of`.
    """
    _check_reader(letter)
    if letter.kind_word.is_report and by.needs_cosignature:
        raise errors.MayNotApprove
    if letter.kind_word is LetterKind.REPORT and not letter.skilled_need.strip():
        raise errors.NeedUnsaid


@transaction.atomic
def discard_letter(*, letter: ProgressLetter, by: User, note: str = "") -> None:
    """Remove a draft; a month's run that made it has it skipped. Raises LetterKept, LetterGone."""
    # The row first and the letter then, as whoever approves or holds it in the run.
    list(RunLetter.objects.order_by().select_for_update().filter(letter=letter))
    stored = _locked(letter)
    audit.record(by, "letter.discarded", client=stored.episode.client, subject=stored)
    RunLetter.objects.filter(letter=stored).update(
        state=RowState.SKIPPED,
        letter=None,
        note=note or "The draft was discarded.",
        decided_by=by,
        decided_at=timezone.now(),
    )
    with _kept_letters():
        stored.delete()


@transaction.atomic
def record_look(*, letter: ProgressLetter, by: User) -> None:
    """Note that a letter was opened."""
    audit.record(by, "letter.seen", client=letter.episode.client, subject=letter)


@transaction.atomic
def record_print(*, letter: ProgressLetter, by: User) -> None:
    """Note that a letter's PDF was taken out."""
    audit.record(by, "letter.printed", client=letter.episode.client, subject=letter)


def texts_of(letter: ProgressLetter) -> Texts:
    return Texts(**{name: getattr(letter, name) for name in TEXT_FIELDS})


def draft_sheet(letter: ProgressLetter, by: User) -> Sheet:
    """The draft as it would be sent today by this person, marked as a draft."""
    summary = progress_summary(letter.episode, _occasion(letter, by))
    return sheet(summary, texts_of(letter), is_draft=True)


def begun_sheet(begun: Begun) -> Sheet:
    """A draft that was only just begun, from the summary it was begun with."""
    return sheet(begun.summary, texts_of(begun.letter), is_draft=True)


def final_sheet(letter: ProgressLetter, by: User) -> Sheet:
    """The same without the mark."""
    summary = progress_summary(letter.episode, _occasion(letter, by))
    return sheet(summary, texts_of(letter), is_draft=False)


def _occasion(letter: ProgressLetter, by: User) -> Occasion:
    return Occasion(
        referrer=letter.referrer,
        period_from=letter.period_from,
        period_to=letter.period_to,
        written_on=timezone.localdate(),
        signed_by=by,
        kind=letter.kind_word,
    )


def _locked(letter: ProgressLetter) -> ProgressLetter:
    """The stored letter, held until the transaction ends. Raises LetterKept when approved.

    Raises LetterGone when it was discarded.
    """
    rows = ProgressLetter.objects.select_for_update(of=("self",))
    joined = rows.select_related("episode__client", "referrer", "episode__referrer")
    stored = joined.filter(pk=letter.pk).first()
    if stored is None:
        raise errors.LetterGone
    if stored.is_approved:
        raise errors.LetterKept
    return stored


@contextmanager
def _kept_letters() -> Iterator[None]:
    """The database's own refusal to touch an approved letter, as the error a person can read."""
    try:
        with transaction.atomic():
            yield
    except DatabaseError as error:
        if getattr(error.__cause__, "sqlstate", None) != RAISED_BY_TRIGGER:
            raise
        raise errors.LetterKept from error

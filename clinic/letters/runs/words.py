"""The words of a run: where a row stands, and why a letter is owed or not. Pure."""

from clinic.common.vocabulary import Word


class RowState(Word):
    """Where one episode stands in a month's run. That a letter is approved, the letter says."""

    NOT_OWED = "not_owed", "no letter owed"
    OWED = "owed", "waiting to be compiled"
    COMPILED = "compiled", "to review"
    FAILED = "failed", "not compiled"
    HELD = "held", "held"
    SKIPPED = "skipped", "skipped"


WITH_LETTER = (RowState.COMPILED, RowState.HELD)
# What a person decided: a later repeat of the run leaves it alone.
DECIDED = (RowState.HELD, RowState.SKIPPED)


class Reason(Word):
    """Why a letter is owed, or the first reason why none is."""

    WANTS_MONTHLY = "wants_monthly", "the referrer wants a letter every month"
    WANTS_QUARTERLY = "wants_quarterly", "the referrer wants a letter every three months"
    HAS_CHANGED = "has_changed", "the referrer wants a letter when something changes"
    DISCHARGED = "discharged", "the episode ended"
    NO_REFERRER = "no_referrer", "no referrer known"
    CLIENT_DECLINES = "client_declines", "the client does not agree to letters"
    REFERRER_GONE = "referrer_gone", "the referrer is no longer active"
    WANTS_NONE = "wants_none", "the referrer wants no letters"
    ALREADY_SENT = "already_sent", "a letter was sent"
    DRAFT_OPEN = "draft_open", "a draft is open"
    NOT_YET_DUE = "not_yet_due", "the three months are not over"
    NO_VISIT = "no_visit", "no visit in the period"
    NOTHING_TAPED = "nothing_taped", "no girths taped yet"
    NO_CHANGE = "no_change", "nothing changed"

    @property
    def is_owed(self) -> bool:
        return self in OWED_FOR


OWED_FOR = frozenset(
    {Reason.WANTS_MONTHLY, Reason.WANTS_QUARTERLY, Reason.HAS_CHANGED, Reason.DISCHARGED}
)


class Failure(Word):
    """Why a letter that is owed could not be compiled."""

    RULE = "rule", "the record does not allow it"
    FAULT = "fault", "a fault of the program"

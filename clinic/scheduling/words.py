"""The words of bookings, wait list and recalls. Pure: vocabulary only."""

from clinic.common.vocabulary import Word


class Purpose(Word):
    """What an appointment is for; recalls look for these whatever the kind is called."""

    EVALUATION = "evaluation", "evaluation"
    TREATMENT = "treatment", "treatment"
    REMEASUREMENT = "remeasurement", "re-measurement"
    GARMENT_FITTING = "garment_fitting", "garment fitting"
    DISCHARGE = "discharge", "discharge"
    OTHER = "other", "other"


class Tone(Word):
    """Colours of our own for kinds of appointment; a text mark always stands beside one."""

    PLUM = "plum", "plum"
    MOSS = "moss", "moss"
    SLATE = "slate", "slate"
    OCHRE = "ochre", "ochre"
    CLAY = "clay", "clay"
    STONE = "stone", "stone"


class Weekday(Word):
    """ISO weekdays; `number` counts from Monday, 0."""

    MONDAY = "0", "Monday"
    TUESDAY = "1", "Tuesday"
    WEDNESDAY = "2", "Wednesday"
    THURSDAY = "3", "Thursday"
    FRIDAY = "4", "Friday"
    SATURDAY = "5", "Saturday"
    SUNDAY = "6", "Sunday"

    @property
    def number(self) -> int:
        return int(self.value)


class Urgency(Word):
    """How soon somebody on the wait list should come, in words without a diagnosis."""

    FIRST = "first", "as soon as possible"
    SOON = "soon", "within two weeks"
    USUAL = "usual", "when a time comes free"


class OfferAnswer(Word):
    OPEN = "open", "no answer yet"
    TAKEN = "taken", "taken"
    DECLINED = "declined", "declined"
    UNREACHED = "unreached", "not reached"


class RecallReason(Word):
    """Why a client is due. The label is what the front desk reads: no clinical word."""

    REMEASUREMENT = "remeasurement", "re-measurement due"
    GARMENT = "garment", "garment replacement due"
    GARMENTS_READY = "garments_ready", "ready to be measured for garments"
    PLAN_ENDING = "plan_ending", "plan of care about to end"
    PROGRESS_REPORT = "progress_report", "progress report due"
    AUTHORISATION = "authorisation", "authorised visits running out"
    NOTHING_BOOKED = "nothing_booked", "no future booking"
    MISSED = "missed", "missed and not rebooked"


class ReminderChannel(Word):
    EMAIL = "email", "by e-mail"
    PHONE = "phone", "by phone"
    POST = "post", "by post"


class Scope(Word):
    """How much of a series a change is meant for."""

    ONE = "one", "this appointment only"
    FOLLOWING = "following", "this one and all that follow"
    ALL = "all", "all that are still to come"

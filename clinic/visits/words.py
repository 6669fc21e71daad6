"""The words of visit notes and plans of care. Pure: vocabulary only."""

from clinic.common.vocabulary import Word


class VisitKind(Word):
    """What a visit was for."""

    EVALUATION = "evaluation", "evaluation"
    TREATMENT = "treatment", "treatment"
    REMEASUREMENT = "remeasurement", "re-measurement"
    GARMENT_FITTING = "garment_fitting", "garment fitting"
    DISCHARGE = "discharge", "discharge"


class Section(Word):
    """The parts of a note that are written in words, in the order of the page."""

    SUBJECTIVE = "subjective", "subjective"
    OBSERVATIONS = "observations", "observations"
    RESPONSE = "response", "response to treatment"
    PLAN = "plan", "plan"


class NoteState(Word):
    """Where a note is in its life."""

    DRAFT = "draft", "draft"
    AWAITING_COSIGNATURE = "awaiting_cosignature", "waits for a co-signature"
    SIGNED = "signed", "signed"


class GoalMeasure(Word):
    """What a goal is judged by. The first four are read from the record, the last is told."""

    EXCESS_PERCENT = "excess_percent", "excess volume, %"
    EXCESS_ML = "excess_ml", "excess volume, mL"
    RELATIVE_CHANGE = "relative_change", "relative volume change, %"
    SCORE = "score", "an outcome score"
    TOLD = "told", "judged by the therapist"


class GoalStatus(Word):
    OPEN = "open", "open"
    MET = "met", "met"
    PARTLY = "partly", "partly met"
    NOT_MET = "not_met", "not met"
    DROPPED = "dropped", "dropped"

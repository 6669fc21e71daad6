"""A broken rule about the clinic's lists as the sentence that a person reads.

Those about notes stand in `note_sentences`.
"""

from clinic.common.errors import RuleBroken
from clinic.visits import errors, note_sentences
from clinic.visits.phrases import BraceAlone, UnknownPlaceholder


def _unknown(error: UnknownPlaceholder) -> str:
    names = ", ".join(f"{{{name}}}" for name in error.names)
    return f"{names} means nothing here. Choose a blank from the list below."


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule of the lists, or of a note."""
    if isinstance(error, UnknownPlaceholder):
        return _unknown(error)
    if isinstance(error, BraceAlone):
        return (
            f"The brace at letter {error.position} stands alone. Close the blank, or type the brace"
            " twice for a brace itself."
        )
    if isinstance(error, errors.ServiceCodeTaken):
        return "Another service in use has this code. End that one first or type another."
    if isinstance(error, errors.PhraseNameTaken):
        return "This part of the note has a phrase of this name already."
    return note_sentences.sentence(error)

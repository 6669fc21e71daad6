"""What an open precaution means at the desk, in words that name no condition. Pure.

Several unlike conditions share each word on purpose. The front desk is given the word only; which
condition stands behind it is read in the clinical record, by those who may. Common practice, no
source: the practice's own rules and the therapist decide.
"""

from clinic.common.vocabulary import Precaution, Word


class DeskWord(Word):
    """What to do when the client comes."""

    ASK_THERAPIST = "ask_therapist", "ask the therapist before the session begins"
    STRAIGHT_TO_ROOM = "straight_to_room", "take straight to a room"
    LEND_A_HAND = "lend_a_hand", "offer a chair and a hand"


DESK_WORDS: dict[DeskWord, frozenset[Precaution]] = {
    DeskWord.ASK_THERAPIST: frozenset(
        {
            Precaution.UNTREATED_INFECTION,
            Precaution.ACUTE_CLOT,
            Precaution.HEART_FAILURE,
            Precaution.KIDNEY_FAILURE,
            Precaution.LIVER_FAILURE,
            Precaution.CAVAL_OBSTRUCTION,
            Precaution.UNEXPLAINED_SWELLING,
            Precaution.UNSTABLE_BLOOD_PRESSURE,
            Precaution.UNSTABLE_ASTHMA,
        }
    ),
    DeskWord.STRAIGHT_TO_ROOM: frozenset(
        {
            Precaution.UNTREATED_INFECTION,
            Precaution.UNTREATED_TUBERCULOSIS,
            Precaution.CHEMOTHERAPY,
        }
    ),
    DeskWord.LEND_A_HAND: frozenset(
        {
            Precaution.LOW_BLOOD_PRESSURE,
            Precaution.CAROTID_SINUS,
            Precaution.CAROTID_DISEASE,
            Precaution.HEART_RHYTHM,
            Precaution.SEIZURES,
            Precaution.SENSORY_LOSS,
            Precaution.PREGNANCY,
        }
    ),
}

"""How a course of care may go, as a letter tells it. Pure."""

from clinic.common.vocabulary import Word


class Story(Word):
    """What a letter is about. Those that ask most of the reader come first."""

    WORSENING = "worsening", "worsening"
    EARLY_DETECTION = "early_detection", "early detection"
    INTERRUPTION = "interruption", "interruption"
    DISCHARGE = "discharge", "discharge"
    GOOD_RESPONSE = "good_response", "good response"
    PLATEAU = "plateau", "plateau"
    STEADY = "steady", "steady"

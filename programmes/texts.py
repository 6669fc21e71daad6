"""Default texts of the rest of a programme, in plain words (reading grade 6 or below). No Django.

Sources: care page 2.5 (stop and call), 3.1 (wear), 1.3 (skin and touch). A therapist edits them;
the emergency lines are always printed as they stand. The usual caution: what to call for is decided
by the licensed clinician and by local rules.
"""

from clinic.common.vocabulary import Phase, Region

SKIN_CARE = (
    "Wash with mild soap. Pat dry, between fingers and toes too.\n"
    "Use plain lotion at night, when your steps are done.\n"
    "Clean and cover each cut. Keep off sunburn and bites."
)
BREATHING = "Take five slow deep breaths three times a day."
# Garment by day: from memory (ISL consensus), not re-read. Wash and swap: common practice.
WEAR_BY_DAY = (
    "Put your {garment} on in the morning. Take it off at night.\n"
    "Wear it for your exercises. Wash it each day."
)
# About 22 to 23 hours: common practice, no source.
WEAR_BANDAGE = (
    "Keep the wraps on day and night until your next visit.\n"
    "Do the limb steps only while the wraps are off.\n"
    "Take the wraps off at once if you go numb, cold, blue or white."
)
WEAR_NONE = "You need no garment now. We will tell you if that changes."
STOP_AND_CALL = (
    "Your skin gets red or hot, or you have a fever or chills.\n"
    "An arm or leg hurts or swells all at once.\n"
    "You find a new lump, a sore or a leak of fluid.\n"
    "You feel dizzy or your heart skips. Skip the neck steps.\n"
    "Your belly hurts or you bleed. Skip the belly steps.\n"
    "Fingers or toes go numb, cold, blue or white. Take off wraps or sleeve first."
)
EMERGENCY = (
    "Call for emergency help at once if your chest hurts, if you cannot breathe well, if you "
    "cough up blood, if one side of you goes weak, or if you shake with fever."
)
UNWELL = "Do you feel ill? Skip today. When in doubt, stop and ask us."
MEASURE = "Measure once a week at the marks we showed you. Write it in the diary."

# What a client calls a region.
PLAIN_REGION = {
    Region.ARM: "arm",
    Region.LEG: "leg",
    Region.BREAST: "breast",
    Region.TRUNK_UPPER: "upper body",
    Region.TRUNK_LOWER: "lower body",
    Region.HEAD_NECK: "head and neck",
    Region.GENITAL: "private parts",
}
GARMENT_OF = {
    Region.ARM: "sleeve",
    Region.LEG: "stocking",
    Region.BREAST: "padded bra",
    Region.TRUNK_UPPER: "vest",
    Region.TRUNK_LOWER: "tights",
}


def wear_schedule(regions: list[Region], phase: Phase) -> str:
    """The usual wear of the phase for these regions; empty where no garment is usual."""
    garments = list(dict.fromkeys(GARMENT_OF[one] for one in regions if one in GARMENT_OF))
    if phase is Phase.INTENSIVE and {Region.ARM, Region.LEG} & set(regions):
        return WEAR_BANDAGE
    if phase is Phase.SURVEILLANCE or not garments:
        return WEAR_NONE
    return WEAR_BY_DAY.format(garment=" and ".join(garments))


def lines_of(text: str) -> list[str]:
    """The lines of a typed text, without empty ones."""
    return [line.strip() for line in text.splitlines() if line.strip()]

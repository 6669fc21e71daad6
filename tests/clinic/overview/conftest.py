"""Three limbs that the caseload tells apart."""

import pytest

from clinic.common.vocabulary import Involvement, Phase, Region, RegionSide
from tests.builders import ARM_SWOLLEN_CM
from tests.cast import Cast
from tests.clinic.overview.caseload_lines import MUCH_SWOLLEN_CM, person, taped


@pytest.fixture
def three(cast: Cast) -> None:
    """One worse, one better, one steady; three phases and regions."""
    taped(
        person("Worseley", cast.therapist, phase=Phase.MAINTENANCE), ARM_SWOLLEN_CM, MUCH_SWOLLEN_CM
    )
    taped(person("Bettering", cast.therapist), MUCH_SWOLLEN_CM, ARM_SWOLLEN_CM)
    taped(
        person("Ångsteady", cast.therapist, phase=Phase.SURVEILLANCE),
        ARM_SWOLLEN_CM,
        ARM_SWOLLEN_CM,
    )
    legs = [(Region.LEG, RegionSide.LEFT, Involvement.SWOLLEN)]
    person("Untaped", cast.therapist, regions=legs)

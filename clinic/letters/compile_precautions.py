"""Gathers what stands or stood against treatment, from the record."""

from clinic.clients.models import Client
from clinic.clients.selectors import BodyStory
from clinic.common.vocabulary import Precaution
from clinic.letters.occasion import Occasion
from clinic.letters.summary import Pause, PrecautionOpen
from programmes.body.precautions import effects_of


def precautions_told(story: BodyStory) -> tuple[PrecautionOpen, ...]:
    """Every open precaution, those that bar all treatment first."""
    found = [
        PrecautionOpen(
            Precaution(each.precaution), each.found_on, _bars(Precaution(each.precaution))
        )
        for each in story.precautions
    ]
    return tuple(sorted(found, key=lambda each: not each.bars_treatment))


def pauses_of(client: Client, occasion: Occasion) -> tuple[Pause, ...]:
    """What barred all treatment on a day of the period and is settled, oldest first. One query."""
    settled = client.precautions.filter(
        found_on__lte=occasion.period_to, cleared_on__gte=occasion.period_from
    )
    return tuple(
        Pause(Precaution(each.precaution), each.found_on, each.cleared_on)
        for each in settled.order_by("found_on", "pk")
        if each.cleared_on and _bars(Precaution(each.precaution))
    )


def _bars(precaution: Precaution) -> bool:
    """Absolute: nothing may be done while it lasts."""
    return bool(effects_of([precaution]).barring)

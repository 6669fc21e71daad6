"""Garments and size charts for tests. All invented."""

from datetime import date
from typing import Any

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.common.vocabulary import Limb, RegionSide
from programmes.compression.classes import ClassSystem
from programmes.compression.words import BodyPart, Make, WornBy
from programmes.models import Garment, SizeChart
from programmes.services.garments import record_garment
from programmes.services.size_charts import import_size_chart

CHART_CSV = """size,place,level_cm,from_cm,to_cm
S,wrist,0,14,16
S,below the elbow,20,20,24
M,wrist,0,16,18.5
M,below the elbow,20,24,28
"""


def garment(episode: Episode, by: User, **differences: Any) -> Garment:
    """A sleeve for the right arm, class 2 by the German standard, issued on the day given."""
    values: dict[str, Any] = {
        "episode": episode,
        "part": BodyPart.ARM,
        "side": RegionSide.RIGHT,
        "class_system": ClassSystem.RAL_ARM,
        "class_name": "2",
        "from_mmhg": 23,
        "to_mmhg": 32,
        "worn_by": WornBy.DAY,
        "make": Make.READY_MADE,
        "supplier": "Harbour Supplies",
        "issued_on": date(2026, 3, 2),
    }
    return record_garment(garment=Garment(**values | differences), by=by)


def size_chart(by: User, raw: str = CHART_CSV, **differences: Any) -> SizeChart:
    values = {"name": "Sleeves, ready made", "limb": Limb.ARM, "start_landmark": "ulnar styloid"}
    chart = SizeChart(**values | differences)
    return import_size_chart(chart=chart, raw=raw.encode(), by=by)

"""What can go wrong with compression, as data. The sentence is made where it is shown.

RuleBroken
└── CompressionError
    ├── NotAboveZero         a length or a pull that must be above 0 is not
    ├── NothingMeasured      a size is asked for without any girth
    └── ChartUneven          a size of a chart lacks a place that other sizes have
"""

from dataclasses import dataclass

from clinic.common.errors import RuleBroken


class CompressionError(RuleBroken):
    """A rule about bandages, garments or size charts."""


@dataclass(eq=False)
class NotAboveZero(CompressionError):
    """`name` says which value, its unit included; `value` what it was."""

    name: str
    value: float


class NothingMeasured(CompressionError):
    """None of the chart's places has a girth."""


@dataclass(eq=False)
class ChartUneven(CompressionError):
    """Every size of a chart has every place, else a size could seem to fit for want of a span."""

    size: str
    place: str

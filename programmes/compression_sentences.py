"""A broken rule about garments, bandages or size charts as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.common.file_sentences import FILE_SENTENCES
from programmes import errors
from programmes.compression import errors as pressing


def _level_differs(error: errors.LevelDiffers) -> str:
    before = "none" if error.level_cm is None else f"{error.level_cm} cm"
    return f"An earlier line gives {before} as the level of {error.place}. Write the same in both."


COMPRESSION_SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    **FILE_SENTENCES,
    pressing.NotAboveZero: lambda error: "A width, pull or girth must be above 0.",
    pressing.NothingMeasured: lambda error: (
        "None of the chart's places has a girth yet. Type at least one."
    ),
    pressing.ChartUneven: lambda error: (
        f"The size {error.size} lacks the place {error.place}. Import the chart again."
    ),
    errors.DayStillToCome: lambda error: "This day is still to come. Choose today or earlier.",
    errors.DaysCross: lambda error: (
        f"This is before the day it was {error.what}, {error.earliest_on:%-d %b %Y}."
    ),
    errors.GarmentEnded: lambda error: (
        "This garment is no longer in use, so nothing about it changes. Record a new one."
    ),
    errors.ArteriesBar: lambda error: (
        f"An ABPI of {error.abpi:g} is below {error.floor:g}: no compression. Ask a vascular"
        " specialist first. Nothing was saved."
    ),
    errors.NoLayers: lambda error: "Enter at least one bandage.",
    errors.ChartNameTaken: lambda error: (
        "Another size chart in use has this name. Type a different one, or retire the other."
    ),
    errors.ChartRefused: lambda error: (
        "The file no longer fits, so nothing was saved. The lines below say why."
    ),
    errors.SpanBackwards: lambda error: (
        f"Runs backwards: from {error.from_cm} to {error.to_cm} cm. The larger girth goes in to_cm."
    ),
    errors.SpanRepeated: lambda error: (
        f"The same size and place stand in line {error.first_line}. Keep one."
    ),
    errors.SpanMissing: lambda error: (
        f"The size {error.size} has no line for {error.place}, which other sizes have. Add it."
    ),
    errors.LevelDiffers: _level_differs,
}

"""Compression on the girths of the day: pressures under bandages, and the size that fits.

Girths and levels in cm, pressures in mmHg. Nothing here is stored: a record keeps how a limb was
bandaged, and the pressures follow from the girths taped last on or before that day.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from clinic.clients.models import Episode, PrecautionFound
from clinic.clients.selectors import open_precautions
from clinic.common.vocabulary import Limb, Precaution, Region, RegionSide, Side, Word
from clinic.visits.pressure_drawing import PressureDrawing, pressure_drawing
from measurements.limb.errors import SectionNotTaped
from measurements.limb.girth import LimbGirths
from measurements.limb.volume import girth_at
from measurements.selectors.taped import sessions_listed, taped
from programmes.body.precautions import EFFECTS, Block
from programmes.compression.pressure import Bandage, Gradient, Station, gradient
from programmes.compression.size_chart import Fit, SizeChart, best_fit
from programmes.models import SizeChart as KeptChart
from programmes.selectors.size_charts import chart_of, levels_of

OF_LIMB = {Region.ARM: Limb.ARM, Region.LEG: Limb.LEG}


@dataclass(frozen=True)
class LimbTaped:
    """One limb as taped last: day, zero mark, girths by level, and what each level is called."""

    limb: Limb
    side: Side
    taken_on: date
    start_landmark: str
    taken_by: str
    girths: LimbGirths
    labels: Mapping[float, str]

    @property
    def rows(self) -> tuple[tuple[str, float, float], ...]:
        """(label, level in cm, girth in cm), far end first."""
        return tuple((self.labels[level], level, girth) for level, girth in self.girths)

    def label(self, level_cm: float) -> str:
        return self.labels[level_cm]


def limb_taped(episode: Episode, limb: Limb, side: Side, *, until_on: date) -> LimbTaped | None:
    """A limb's girths of the last session on or before a day; None without any. Five queries."""
    own = [
        each
        for each in sessions_listed([episode])
        if each.limb == limb and each.taken_on <= until_on
    ]
    if not own:
        return None
    last = own[-1]
    found = taped([last])[last.pk]
    girths = found.of(side)
    if girths is None:
        return None
    labels = {float(each.level_cm): each.label for each in last.protocol.stations.all()}
    return LimbTaped(
        limb=limb,
        side=side,
        taken_on=found.facts.taken_on,
        start_landmark=found.facts.start_landmark,
        taken_by=found.facts.taken_by,
        girths=girths,
        labels={level: labels.get(level, f"{level:g} cm") for level in girths.levels_cm},
    )


def usual_limb(episode: Episode) -> tuple[Limb, Side]:
    """The first limb the episode treats; the right arm where it treats none. One query."""
    for each in episode.regions.all():
        if each.region in OF_LIMB and each.side != RegionSide.MIDLINE:
            return OF_LIMB[Region(each.region)], Side(each.side)
    return Limb.ARM, Side.RIGHT


# Under a bandage


@dataclass(frozen=True)
class StationRow:
    """A station with the name of its place."""

    label: str
    station: Station


@dataclass(frozen=True)
class Estimate:
    """The pressures under these bandages at the girths taped last, and their drawing."""

    taped: LimbTaped
    gradient: Gradient
    drawing: PressureDrawing

    @property
    def rows(self) -> tuple[StationRow, ...]:
        """Nearest the trunk first, as the limb is drawn."""
        stations = reversed(self.gradient.stations)
        return tuple(StationRow(self.taped.label(each.level_cm), each) for each in stations)


def estimate(found: LimbTaped | None, bandages: Sequence[Bandage]) -> Estimate | None:
    """Pressures up the limb; None without girths or bandages. Raises NotAboveZero."""
    if found is None or not bandages:
        return None
    pressures = gradient(found.girths, bandages)
    return Estimate(found, pressures, pressure_drawing(pressures))


def compression_precautions(episode: Episode) -> list[PrecautionFound]:
    """Open precautions that bar or limit compression. One query."""
    return [
        each
        for each in open_precautions(episode.client)
        if Block.COMPRESSION in EFFECTS[Precaution(each.precaution)].blocks
        or each.precaution in LIMITING
    ]


# Limit compression without barring it: Rabe & Pannier, summary of the 2020 consensus on
# compression risks (arteries, loss of feeling); Lymphoedema Framework, Best Practice, 2006, box 18
# (infection: keep at a reduced level if tolerated); clot: from memory, not re-read.
LIMITING = (
    Precaution.ARTERIAL_DISEASE,
    Precaution.SENSORY_LOSS,
    Precaution.UNTREATED_INFECTION,
    Precaution.ACUTE_CLOT,
    Precaution.HEART_FAILURE,
    Precaution.FRAGILE_LIMB_SKIN,
)


# Fitting a garment


class Carried(Word):
    """Where a place's girth comes from; the label is for the form."""

    TAPED = "taped", "taped"
    BETWEEN = "between", "between two taped positions"
    TYPED = "typed", "typed here"
    NO_LEVEL = "no_level", "the chart gives no level: tape it and type it"
    OTHER_START = "other_start", "the chart counts from another landmark: tape it and type it"
    NOT_REACHED = "not_reached", "outside what was taped: tape it and type it"
    NOT_TAPED = "not_taped", "not taped yet"


@dataclass(frozen=True)
class PlaceGirth:
    """The girth in cm carried to a measuring place, or why there is none."""

    place: str
    level_cm: float | None
    girth_cm: float | None
    how: Carried


@dataclass(frozen=True)
class PlaceRow:
    """A place on the fitting form: its girth, the best size's span, and how far outside it lies."""

    carried: PlaceGirth
    from_cm: float | None = None
    to_cm: float | None = None
    outside_cm: float | None = None

    @property
    def outside_size_cm(self) -> float:
        """The distance without its sign, for words that say above or below."""
        return abs(self.outside_cm or 0)


@dataclass(frozen=True)
class Fitting:
    """A limb held against one chart. `fit` is None as long as no place has a girth."""

    chart: SizeChart
    rows: tuple[PlaceRow, ...]
    fit: Fit | None


def carried_girths(
    kept: KeptChart, found: LimbTaped | None, typed: Mapping[str, float | None]
) -> tuple[PlaceGirth, ...]:
    """A girth for each place of a chart: typed ones first, else from the tape. Cm, unrounded."""
    return tuple(
        _carried(place, level_cm, _Source(kept.start_landmark, found, typed.get(place)))
        for place, level_cm in levels_of(kept).items()
    )


@dataclass(frozen=True)
class _Source:
    """What a place's girth may be taken from."""

    start_landmark: str
    found: LimbTaped | None
    typed_cm: float | None


def _carried(place: str, level_cm: float | None, source: _Source) -> PlaceGirth:
    if source.typed_cm is not None:
        return PlaceGirth(place, level_cm, source.typed_cm, Carried.TYPED)
    found = source.found
    if found is None:
        return PlaceGirth(place, level_cm, None, Carried.NOT_TAPED)
    if level_cm is None:
        return PlaceGirth(place, None, None, Carried.NO_LEVEL)
    if _plain(found.start_landmark) != _plain(source.start_landmark):
        return PlaceGirth(place, level_cm, None, Carried.OTHER_START)
    try:
        girth_cm = girth_at(found.girths, level_cm)
    except SectionNotTaped:
        return PlaceGirth(place, level_cm, None, Carried.NOT_REACHED)
    how = Carried.TAPED if level_cm in found.girths.levels_cm else Carried.BETWEEN
    return PlaceGirth(place, level_cm, float(girth_cm), how)


def _plain(landmark: str) -> str:
    """A landmark as compared: no capitals, single blanks."""
    return " ".join(landmark.casefold().split())


def fitting(kept: KeptChart, carried: Sequence[PlaceGirth]) -> Fitting:
    """The best size of a chart for these girths, place by place. No query if spans were fetched."""
    chart = chart_of(kept)
    girths = {each.place: each.girth_cm for each in carried}
    fit = best_fit(chart, girths) if any(girths.values()) else None
    return Fitting(chart, tuple(_place_rows(chart, carried, fit)), fit)


def _place_rows(
    chart: SizeChart, carried: Sequence[PlaceGirth], fit: Fit | None
) -> Iterator[PlaceRow]:
    best = next((size for size in chart.sizes if fit and size.name == fit.size), None)
    spans = {span.place: span for span in best.spans} if best else {}
    for each in carried:
        span = spans.get(each.place)
        if span is None:
            yield PlaceRow(each)
            continue
        outside = None if each.girth_cm is None else span.outside_cm(each.girth_cm)
        yield PlaceRow(each, span.from_cm, span.to_cm, outside)

"""All that the entry screen shows for one limb, gathered once for page and live answer alike."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property, partial
from statistics import fmean
from typing import Any
from uuid import UUID

from django.http import HttpRequest
from django.utils import timezone

from clinic.accounts.models import User
from clinic.accounts.selectors import practice_card
from clinic.clients.models import Episode
from clinic.common.templatetags.units import NOT_KNOWN, girth, level, weight
from clinic.common.vocabulary import Limb, Posture, Sex, Side
from measurements.forms.entry import EntryForm, Sides, word_typed
from measurements.forms.girth_sheet import (
    Cell,
    GirthSheet,
    Setup,
    StationCells,
    end_name,
    girth_name,
)
from measurements.limb.girth import LimbGirths, Reading
from measurements.limb.levels import EndHandling
from measurements.limb.plausibility import Question
from measurements.limb.units import LengthUnit, WeightUnit
from measurements.live import LiveReport, live_report
from measurements.models import GirthSession, Protocol
from measurements.questions import limbs_taped, questions_about
from measurements.report import is_own_name
from measurements.selectors.entry import (
    LastTime,
    last_time,
    limbs_to_tape,
    live_sessions,
    protocol_with_stations,
    readings_of,
    sessions_for,
)
from measurements.selectors.protocols import protocols_in_use
from measurements.selectors.taped import AffectedSides, affected_sides, swollen_side
from measurements.sentences import question_sentence
from measurements.taped import Station


@dataclass(frozen=True)
class ShownStation:
    """One station of one limb: fields, last girth in cm, what is asked."""

    fields: StationCells
    row: int
    label: str
    last_cm: float | None
    questions: tuple[str, ...]
    spoken: str  # what a screen reader calls the field

    @property
    def ask_id(self) -> str:
        return f"ask-{self.fields.side}-{self.row}"


@dataclass(frozen=True)
class ShownRow:
    """One tape position across the limbs."""

    level_cm: float
    label: str
    stations: tuple[ShownStation, ...]

    @property
    def has_own_name(self) -> bool:
        return is_own_name(self.label, self.level_cm)


@dataclass
class EntryDesk:
    """One limb of an episode being typed."""

    episode: Episode
    limb: Limb
    typed: dict[str, str]
    protocols: list[Protocol]
    setup: Setup
    corrects: GirthSession | None = None

    def __post_init__(self) -> None:
        self.sheet = GirthSheet(self.setup, self.typed)

    @property
    def protocol_is_gone(self) -> bool:
        """The protocol chosen earlier has been retired since."""
        return self.typed.get("protocol", "") not in {"", str(self.setup.protocol.pk)}

    @cached_property
    def affected(self) -> AffectedSides:
        return affected_sides(self.limb, self.episode.regions.all())

    @cached_property
    def last(self) -> LastTime | None:
        landmark = self.setup.protocol.start_landmark
        return last_time(self.episode, self.limb, before=self.taken_on, landmark=landmark)

    @cached_property
    def limbs(self) -> dict[Side, LimbGirths]:
        landmark = self.setup.protocol.start_landmark
        return limbs_taped(self.sheet.readings, zero_mark=landmark)

    @cached_property
    def questions(self) -> tuple[Question, ...]:
        return questions_about(
            self.limb,
            self.limbs,
            sex=Sex(self.episode.client.sex),
            previous=self.last.limbs if self.last else {},
            swollen=swollen_side(self.limb, self.episode.regions.all()),
        )

    @cached_property
    def waiting(self) -> int:
        """Questions about stations that nobody has confirmed."""
        sure = self.sheet.confirmed.girths
        return len({(q.side, q.level_cm) for q in self.questions} - sure)

    @cached_property
    def live(self) -> LiveReport:
        return live_report(
            self.limb,
            self.limbs,
            previous=self.last.limbs if self.last else {},
            affected=self.affected.side,
            stations={side: len(self.setup.stations) for side in self.setup.sides},
        )

    @property
    def taken_on(self) -> date:
        try:
            return date.fromisoformat(self.typed.get("taken_on", ""))
        except ValueError:
            return timezone.localdate()

    @property
    def columns(self) -> list[tuple[Side, str]]:
        """(side, how it is affected) of each limb shown."""
        found = {
            region.side: region.get_involvement_display()
            for region in self.episode.regions.all()
            if region.region == self.limb.value
        }
        return [(side, found.get(side.value, "")) for side in self.setup.sides]

    @property
    def has_several_trials(self) -> bool:
        return self.sheet.trials > 1

    @cached_property
    def rows(self) -> list[ShownRow]:
        asked: dict[tuple[Side, float], list[str]] = {}
        for each in self.questions:
            sentences = asked.setdefault((each.side, each.level_cm), [])
            sentences.append(question_sentence(each, self.setup.length_unit))
        last_cm = self.last.girths_cm if self.last else {}
        return [
            ShownRow(
                level_cm,
                label,
                tuple(
                    ShownStation(
                        self.sheet.station(side, level_cm),
                        row,
                        label,
                        last_cm.get((side, level_cm)),
                        tuple(asked.get((side, level_cm), ())),
                        f"{side.label.capitalize()} {self.limb.label}, {label}",
                    )
                    for side in self.setup.sides
                ),
            )
            for row, (level_cm, label) in enumerate(self.setup.stations)
        ]

    @property
    def ends(self) -> list[tuple[Side, Cell]]:
        """The hand or foot fields, none when the protocol leaves the end out."""
        if self.setup.end_handling is EndHandling.EXCLUDED:
            return []
        return [(side, self.sheet.end(side)) for side in self.setup.sides]

    @property
    def end_unit(self) -> str:
        is_length = self.setup.end_handling is EndHandling.FIGURE_OF_EIGHT
        return str(self.setup.length_unit.label) if is_length else "millilitres"

    def form(self, *, bound: bool) -> EntryForm:
        """The facts around the girths: bound when they are to be recorded."""
        shown = self.typed | {"protocol": str(self.setup.protocol.pk)}
        if not bound:
            return EntryForm(sheet=self.sheet, initial=shown).offer(self.protocols)
        form = EntryForm(shown, sheet=self.sheet).offer(self.protocols)
        if self.protocol_is_gone:
            form.add_error(
                "protocol",
                "The protocol you began with is no longer in use. This is the one offered now:"
                " compare its positions, then record again.",
            )
        return form


def limb_asked(request: HttpRequest, episode: Episode) -> Limb:
    """The limb named in the address, else the first that the episode treats."""
    return Limb(word_typed(Limb, request.GET.get("limb"), limbs_to_tape(episode)[0]))


def corrected_session(user: User, episode: Episode, text: str) -> GirthSession | None:
    """The struck session that the one being typed corrects, if there is one."""
    try:
        key = UUID(text)
    except ValueError:
        return None
    return sessions_for(user).filter(pk=key, episode=episode, struck_at__isnull=False).first()


def desk_for(
    request: HttpRequest, episode: Episode, limb: Limb, typed: Mapping[str, str]
) -> EntryDesk | None:
    """The desk for what is typed so far; None when no protocol for the limb is in use."""
    corrects = corrected_session(request.user, episode, typed.get("corrects", ""))
    protocols = list(protocols_in_use(limb))
    if corrects and corrects.protocol_id not in {each.pk for each in protocols}:
        old = protocol_with_stations(corrects.protocol_id)
        protocols = [*protocols, old] if old else protocols
    if not protocols:
        return None
    typed = _defaults(episode, limb, protocols) | dict(typed)
    return EntryDesk(episode, limb, typed, protocols, _setup(limb, typed, protocols), corrects)


@dataclass(frozen=True)
class SameDayRow:
    """One line of the comparison: what each session there says, and what was typed."""

    label: str
    theirs: tuple[str, ...]
    mine: str


def side_by_side(desk: EntryDesk, sessions: list[GirthSession]) -> list[SameDayRow]:
    """Weight and girths of the sessions of a day beside what is typed, in the unit typed in."""
    written = partial(girth, shown=desk.setup.length_unit)
    theirs = [_girths_by_station(readings_of(session)) for session in sessions]
    mine = _girths_by_station(desk.sheet.readings)
    stations = sorted({station for found in [*theirs, mine] for station in found})
    rows = [
        SameDayRow(
            f"{side.label.capitalize()}, {level(level_cm)} cm",
            tuple(written(found.get((side, level_cm))) for found in theirs),
            written(mine.get((side, level_cm))),
        )
        for side, level_cm in stations
    ]
    weights = tuple(weight(session.weight_kg) for session in sessions)
    return [SameDayRow("Weight", weights, desk.typed.get("weight") or NOT_KNOWN), *rows]


def _girths_by_station(readings: Iterable[Reading]) -> dict[Station, float]:
    """The mean of the tapings of each station, cm."""
    tapings: defaultdict[Station, list[float]] = defaultdict(list)
    for each in readings:
        tapings[each.side, each.level_cm].append(each.girth_cm)
    return {station: fmean(girths) for station, girths in tapings.items()}


def typed_of(session: GirthSession) -> dict[str, str]:
    """A recorded session as it would be typed, in cm and kg, to correct it."""
    girths = {
        girth_name(Side(row.side), float(row.level_cm), row.trial): _plain(row.girth_cm)
        for row in session.readings.all()
    }
    ends = {
        end_name(Side(row.side)): _plain(row.figure_of_eight_cm or row.displaced_ml)
        for row in session.end_readings.all()
    }
    sides = {row.side for row in session.readings.all()}
    facts = {
        "protocol": str(session.protocol_id),
        "sides": "both" if len(sides) > 1 else sides.pop(),
        "length_unit": LengthUnit.CENTIMETRE.value,
        "weight_unit": WeightUnit.KILOGRAM.value,
        "taken_on": session.taken_on.isoformat(),
        "taken_at": f"{session.taken_at:%H:%M}" if session.taken_at else "",
        "posture": session.posture,
        "weight": _plain(session.weight_kg),
        "note": session.note,
        "corrects": str(session.pk),
    }
    return facts | girths | ends


def _plain(value: Decimal | None) -> str:
    """38.40 -> 38.4; None -> nothing."""
    return "" if value is None else f"{float(value):g}"


def _defaults(episode: Episode, limb: Limb, protocols: list[Protocol]) -> dict[str, Any]:
    """A fresh page: the practice's units, the last session's ways, else the closest stations."""
    practice = practice_card()
    last = live_sessions(episode, limb).order_by("-taken_on", "-round").first()
    in_use = {each.pk for each in protocols}
    is_offered = last is not None and last.protocol_id in in_use
    closest = max(protocols, key=lambda each: len(each.stations.all()))
    now = timezone.localtime()
    return {
        "protocol": str(last.protocol_id if last and is_offered else closest.pk),
        "sides": Sides.BOTH.value,
        "trials": "1",
        "length_unit": practice.length_shown,
        "weight_unit": practice.weight_shown,
        "taken_on": now.date().isoformat(),
        "taken_at": f"{now:%H:%M}",
        "posture": last.posture if last else Posture.SITTING.value,
    }


def _setup(limb: Limb, typed: Mapping[str, str], protocols: list[Protocol]) -> Setup:
    chosen = {str(each.pk): each for each in protocols}
    trials = typed.get("trials", "1")
    return Setup(
        limb=limb,
        protocol=chosen.get(typed.get("protocol", ""), protocols[0]),
        sides=word_typed(Sides, typed.get("sides"), Sides.BOTH).columns,
        trials=int(trials) if trials in {"1", "2", "3"} else 1,
        length_unit=word_typed(LengthUnit, typed.get("length_unit"), LengthUnit.CENTIMETRE),
    )

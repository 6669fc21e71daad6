"""What the practice report counts. A fixed number of queries, values without names."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import (
    Count,
    Exists,
    F,
    Min,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
)
from django.db.models.functions import Coalesce, Least, Trim, TruncDate
from django.utils import timezone

from clinic.clients.models import Client, Episode, PhaseChange
from clinic.clients.selectors import with_reader
from clinic.common.vocabulary import Phase
from clinic.overview.due import LETTER_AFTER
from clinic.overview.facts import REFERRERS_LETTER
from clinic.overview.practice_report import PracticeReport, made_of
from clinic.overview.report_dues import GRACE, letter_is_on_time
from clinic.overview.report_facts import PeriodFacts
from clinic.overview.report_period import ONE_DAY, Period
from clinic.overview.report_phases import ended_phases, reductions
from clinic.overview.report_surveillance import early_detections, measured_in_time
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import stored, zone
from clinic.scheduling.selectors.authorisations import starts_at
from clinic.scheduling.spans import Span
from clinic.scheduling.states import Status
from programmes.models import AdherenceRecord, Programme

NO_REFERRER = "No referrer recorded"
NO_SPECIALITY = "Speciality not recorded"


def report_on(period: Period, *, now: datetime) -> PracticeReport:
    """The report on a period beside the one before, up to now. 29 queries at most."""
    return made_of(period, facts_of((period, period.previous), now=now))


def facts_of(periods: Sequence[Period], *, now: datetime) -> list[PeriodFacts]:
    """Everything that is counted in each of the periods, which touch each other."""
    today = timezone.localdate(now)
    whole = Period(min(each.from_on for each in periods), max(each.to_on for each in periods))
    ended = [each for each in ended_phases(whole) if each.ended_on <= today]
    phases = reductions([each for each in ended if each.phase is Phase.INTENSIVE])
    detections = early_detections(whole, periods)
    measured = measured_in_time(whole, periods, today=today)
    return [
        _facts(
            period,
            now,
            reductions=[
                (each.client_id, result) for each, result in phases if period.holds(each.ended_on)
            ],
            moved_to_intensive=sum(
                each.is_early_treatment for each in ended if period.holds(each.ended_on)
            ),
            detections=detections[place],
            measured=measured[place],
        )
        for place, period in enumerate(periods)
    ]


def _facts(period: Period, now: datetime, **taped: Any) -> PeriodFacts:
    """What was taped, and all the rest. Eight queries."""
    last_on = min(period.to_on, timezone.localdate(now))
    days, registered_later = _evaluation_days(period)
    return PeriodFacts(
        referrals=_referrals(period),
        evaluation_days=days,
        registered_later=registered_later,
        phases=_phases(last_on),
        appointments=_appointments(period, now),
        programmes_issued=_programmes_issued(period),
        adherence_days=_adherence_days(period),
        letters=_letters(period),
        letters_overdue=_letters_overdue(last_on),
        **taped,
    )


def _span(period: Period) -> Span:
    """From midnight to midnight by the practice's clock."""
    at: ZoneInfo = zone()
    ends_on = period.to_on + ONE_DAY
    return Span(*(datetime.combine(day, time.min, at) for day in (period.from_on, ends_on)))


def _within(field: str, period: Period) -> Q:
    """A moment within the period."""
    span = _span(period)
    return Q(**{f"{field}__gte": span.starts_at, f"{field}__lt": span.ends_at})


def _referrals(period: Period) -> Mapping[str, int]:
    """Clients registered, by the speciality of who referred them; never by name."""
    rows = (
        _people()
        .filter(_within("first_registered_at", period))
        .order_by()
        .values(source=Trim("referrer__speciality"))
        .annotate(number=Count("pk"))
    )
    found: Counter[str] = Counter()
    for source, number in rows.values_list("source", "number"):
        found[NO_REFERRER if source is None else source or NO_SPECIALITY] += number
    return found


def _people() -> QuerySet[Any]:
    """One a person: a record merged into another is not one, but may be the older of the two."""
    merged = Client.objects.filter(merged_into=OuterRef("pk")).order_by("registered_at")
    first = Subquery(merged.values("registered_at")[:1])
    people = Client.objects.filter(merged_into=None)
    return people.annotate(first_registered_at=Least("registered_at", first))


def _evaluation_days(period: Period) -> tuple[list[float], int]:
    """Days from registering to the first episode; how many were registered only after it."""
    rows = (
        _people()
        .annotate(
            first_on=Min("episodes__opened_on"), registered_on=TruncDate("first_registered_at")
        )
        .filter(first_on__range=(period.from_on, period.to_on))
        .order_by()
        .values_list("first_on", "registered_on")
    )
    waits = [(first_on - registered_on).days for first_on, registered_on in rows]
    known = [float(days) for days in waits if days >= 0]
    return known, len(waits) - len(known)


def _phases_on(on: date) -> QuerySet[Any]:
    """The phase of each episode at a day's end, of clients not deactivated by then."""
    until = PhaseChange.objects.filter(since_on__lte=on)
    latest = until.order_by("episode_id", "-since_on", "-pk").distinct("episode_id").values("pk")
    ended_at = _span(Period(on, on)).ends_at
    gone = Q(episode__client__deactivated_at__lt=ended_at)
    return PhaseChange.objects.filter(pk__in=latest).exclude(gone)


def _phases(on: date) -> Mapping[Phase, int]:
    rows = _phases_on(on).order_by().values("phase").annotate(number=Count("pk"))
    return {Phase(phase): number for phase, number in rows.values_list("phase", "number")}


def _appointments(period: Period, now: datetime) -> Mapping[tuple[str, str], int]:
    """(outcome, purpose) -> how many began in the period and up to now."""
    span = _span(period)
    rows = (
        Appointment.objects.filter(period__overlap=stored(span))
        .filter(period__startswith__gte=span.starts_at, period__startswith__lte=now)
        .order_by()
        .values("status", "kind__purpose")
        .annotate(number=Count("pk"))
    )
    return {
        (status, purpose): number
        for status, purpose, number in rows.values_list("status", "kind__purpose", "number")
    }


def _programmes_issued(period: Period) -> int:
    return Programme.objects.filter(_within("issued_at", period)).count()


def _adherence_days(period: Period) -> list[float]:
    """Days done of the last seven, as each client last told in the period."""
    rows = (
        AdherenceRecord.objects.filter(recorded_on__range=(period.from_on, period.to_on))
        .order_by("recorded_on", "pk")
        .values_list("episode__client_id", "days_done")
    )
    return [float(days) for days in dict(rows).values()]


def _letters(period: Period) -> tuple[int, int]:
    """Progress letters approved in the period: on time, late."""
    approved = _approved_letters().filter(_within("approved_at", period)).order_by()
    rows = approved.values_list("period_to", TruncDate("approved_at"))
    timely = [letter_is_on_time(*days) for days in rows]
    return sum(timely), len(timely) - sum(timely)


def _approved_letters() -> QuerySet[Any]:
    letters: QuerySet[Any] = Episode.letters.rel.related_model.objects.all()
    return letters.filter(kind=REFERRERS_LETTER, approved_at__isnull=False)


def _letters_overdue(on: date) -> int:
    """Open episodes, seen since their last letter, whose next was due longer ago than the grace.

    As the due list and the monthly run count: none to a referrer deactivated since.
    """
    approved_by = _span(Period(on, on)).ends_at
    letters = _approved_letters().filter(episode=OuterRef("pk"), approved_at__lt=approved_by)
    last_to = Subquery(letters.order_by("-period_to").values("period_to")[:1])
    visits = (
        Appointment.objects.filter(client=OuterRef("client"), status=Status.DONE)
        .annotate(on=TruncDate(starts_at()))
        .filter(on__gt=OuterRef("told_to"), on__lte=on)
    )
    opened = _phases_on(on).exclude(phase=Phase.DISCHARGED)
    rows = (
        with_reader(Episode.objects.filter(pk__in=opened.values("episode")))
        .filter(client__agrees_to_letters=True, reader_is_active=True, wish__in=LETTER_AFTER)
        .annotate(told_to=Coalesce(last_to, F("opened_on")))
        .filter(Exists(visits))
        .order_by()
        .values("told_to", "wish")
        .annotate(number=Count("pk"))
        .values_list("told_to", "wish", "number")
    )
    return sum(
        number for told_to, wish, number in rows if told_to + LETTER_AFTER[wish] + GRACE < on
    )

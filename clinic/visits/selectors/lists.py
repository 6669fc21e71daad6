"""Reads of the clinic's services, phrases and rules for charting."""

from datetime import date

from django.db.models import Q, QuerySet

from clinic.visits.lists import ChartingRules, Phrase, Service


def services() -> QuerySet[Service]:
    """Every service, those in use first."""
    return Service.objects.order_by("active_until", "code", "pk")


def services_on(day: date) -> QuerySet[Service]:
    """The services that the clinic provided on a day. One query."""
    is_open = Q(active_until__isnull=True) | Q(active_until__gte=day)
    return Service.objects.filter(is_open, active_from__lte=day)


def phrases() -> QuerySet[Phrase]:
    return Phrase.objects.all()


def charting_rules() -> ChartingRules:
    """The clinic's rules; the usual ones until it has set its own. One query."""
    return ChartingRules.objects.filter(pk=1).first() or ChartingRules()

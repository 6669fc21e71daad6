"""What hangs on a client, in the trade's words."""

from django.db.models import Model

KINDS = {
    "clients.surgery": "surgeries",
    "clients.nodesurgery": "node surgeries",
    "clients.irradiation": "courses of radiation",
    "clients.precautionfound": "precautions",
    "programmes.precautionreview": "times the precautions were asked",
    "scheduling.series": "series of appointments",
    "scheduling.waitlistentry": "places on the wait list",
    "scheduling.recallsnooze": "recalls put off",
    "scheduling.reminderconsent": "agreements to be reminded",
}


def kind_of(model: type[Model]) -> str:
    """More than one of them, in words; a new kind under its own name."""
    return KINDS.get(model._meta.label_lower, str(model._meta.verbose_name_plural))

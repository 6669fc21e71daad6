"""Who is treated, who referred them, and what was done to them."""

import uuid
from functools import cache

from django.conf import settings
from django.contrib.postgres.indexes import GinIndex
from django.db import models
from django.db.models import F, Func, Q, Value
from django.db.models.functions import Concat

from clinic.clients import record_requests  # noqa: F401 - its models belong to this app
from clinic.clients.diagnoses import diagnosis_choices
from clinic.clients.emergency import EmergencyAccess
from clinic.common.choices import check_values, choices_of
from clinic.common.vocabulary import (
    Basin,
    Cause,
    Involvement,
    LetterFrequency,
    NodeProcedure,
    Phase,
    Precaution,
    RadiationField,
    Region,
    RegionSide,
    Sex,
    Side,
    Word,
)

__all__ = ["EmergencyAccess"]


class Delivery(Word):
    POST = "post", "by post"
    FAX = "fax", "by fax"
    HAND = "hand", "by hand"
    EMAIL = "email", "by secure e-mail"


class Operation(Word):
    LUMPECTOMY = "lumpectomy", "breast-conserving surgery"
    MASTECTOMY = "mastectomy", "mastectomy"
    RECONSTRUCTION = "reconstruction", "breast reconstruction"
    MELANOMA = "melanoma", "melanoma excision"
    GYNAECOLOGICAL = "gynaecological", "gynaecological cancer surgery"
    PROSTATE = "prostate", "prostate surgery"
    HEAD_NECK = "head_neck", "head and neck surgery"
    SARCOMA = "sarcoma", "sarcoma excision"
    OTHER = "other", "other surgery"


class Drugs(Word):
    CHEMOTHERAPY = "chemotherapy", "chemotherapy"
    HORMONE = "hormone", "hormone therapy"
    TARGETED = "targeted", "targeted therapy"
    IMMUNE = "immune", "immunotherapy"


def folded(expression: object) -> Func:
    """Lower case without accents, by the database function `folded`."""
    return Func(expression, function="folded", output_field=models.TextField())


class Referrer(models.Model):
    """A physician who sends clients and reads letters."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    title = models.CharField(max_length=20, blank=True, help_text="For example Dr.")
    given_name = models.CharField(max_length=60)
    family_name = models.CharField(max_length=60)
    speciality = models.CharField(max_length=60, blank=True)
    organisation = models.CharField(max_length=120, blank=True)
    street = models.CharField(max_length=120, blank=True)
    town = models.CharField("town, state and postcode", max_length=120, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    fax = models.CharField(max_length=40, blank=True)
    email = models.EmailField("e-mail", blank=True)
    delivery = models.CharField(
        "letters go", max_length=5, choices=choices_of(Delivery), default=Delivery.POST
    )
    letter_frequency = models.CharField(
        "wants a letter",
        max_length=9,
        choices=choices_of(LetterFrequency),
        default=LetterFrequency.MONTHLY,
    )
    is_active = models.BooleanField(default=True)
    folded_name = models.GeneratedField(
        expression=folded(
            Concat(F("family_name"), Value(" "), F("given_name"), Value(" "), F("organisation"))
        ),
        output_field=models.TextField(),
        db_persist=True,
    )

    class Meta:
        ordering = ["folded_name"]
        indexes = [
            GinIndex(fields=["folded_name"], name="referrer_name_parts", opclasses=["gin_trgm_ops"])
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(delivery__in=check_values(Delivery)), name="delivery_is_known"
            ),
            models.CheckConstraint(
                condition=Q(letter_frequency__in=check_values(LetterFrequency)),
                name="letter_frequency_is_known",
            ),
        ]

    def __str__(self) -> str:
        return " ".join(filter(None, [self.title, self.given_name, self.family_name]))


class Client(models.Model):
    """A person in the practice's care."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    record_number = models.CharField(max_length=20, unique=True)
    given_name = models.CharField(max_length=60)
    family_name = models.CharField(max_length=60)
    born_on = models.DateField("date of birth")
    sex = models.CharField(max_length=8, choices=choices_of(Sex), default=Sex.NOT_SAID)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField("e-mail", blank=True)
    street = models.CharField(max_length=120, blank=True)
    town = models.CharField("town, state and postcode", max_length=120, blank=True)
    referrer = models.ForeignKey(
        Referrer, models.PROTECT, null=True, blank=True, related_name="clients"
    )
    agrees_to_letters = models.BooleanField(
        "agrees to progress letters going to the referrer", default=True
    )
    registered_at = models.DateTimeField(auto_now_add=True)
    deactivated_at = models.DateTimeField(null=True, blank=True, editable=False)
    deactivated_reason = models.CharField(max_length=200, blank=True, editable=False)
    # The record that holds everything of this one since the two were found to be one person.
    merged_into = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, editable=False, related_name="merged_from"
    )
    erased_at = models.DateTimeField(null=True, blank=True, editable=False)
    folded_name = models.GeneratedField(
        expression=folded(Concat(F("family_name"), Value(" "), F("given_name"))),
        output_field=models.TextField(),
        db_persist=True,
    )

    class Meta:
        ordering = ["folded_name", "born_on"]
        indexes = [
            GinIndex(fields=["folded_name"], name="client_name_parts", opclasses=["gin_trgm_ops"]),
            models.Index(fields=["folded_name", "born_on"], name="client_order"),
            models.Index(fields=["born_on"], name="client_born_on"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(born_on__gte="1890-01-01"), name="born_in_living_memory"
            ),
            models.CheckConstraint(
                condition=Q(sex__in=check_values(Sex)), name="client_sex_is_known"
            ),
            models.CheckConstraint(
                condition=Q(deactivated_at__isnull=True) | ~Q(deactivated_reason=""),
                name="deactivation_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(merged_into__isnull=True, erased_at__isnull=True)
                | Q(deactivated_at__isnull=False),
                name="gone_record_is_deactivated",
            ),
            models.CheckConstraint(
                condition=~Q(merged_into=F("id")), name="not_merged_into_itself"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.family_name}, {self.given_name}"

    @property
    def is_active(self) -> bool:
        return self.deactivated_at is None

    @property
    def is_gone(self) -> bool:
        """Merged into another record, or erased: nothing hangs on it any more."""
        return self.merged_into_id is not None or self.erased_at is not None


class Episode(models.Model):
    """One episode of care, from evaluation to discharge."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    client = models.ForeignKey(Client, models.PROTECT, related_name="episodes")
    opened_on = models.DateField()
    cause = models.CharField(max_length=16, choices=choices_of(Cause))
    diagnosis = models.CharField("ICD-10-CM diagnosis", max_length=8, choices=diagnosis_choices())
    dominant_hand = models.CharField(max_length=5, choices=choices_of(Side), blank=True)
    therapist = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="episodes")
    referrer = models.ForeignKey(
        Referrer, models.PROTECT, null=True, blank=True, related_name="episodes"
    )
    referral_reason = models.TextField(blank=True, max_length=1000)

    class Meta:
        ordering = ["-opened_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(cause__in=check_values(Cause)), name="cause_is_known"
            ),
            models.CheckConstraint(
                condition=Q(dominant_hand__in=["", *check_values(Side)]), name="hand_is_a_side"
            ),
        ]

    def __str__(self) -> str:
        return f"episode opened {self.opened_on:%Y-%m-%d}"


MIDLINE_REGIONS = [Region.HEAD_NECK, Region.GENITAL]


@cache
def region_name(region: str, side: str) -> str:
    """ "left arm"; a region of the midline goes without a side."""
    name = Region(region).label
    return name if side == RegionSide.MIDLINE else f"{RegionSide(side).label} {name}"


class AffectedRegion(models.Model):
    """A region the episode treats or watches."""

    episode = models.ForeignKey(Episode, models.CASCADE, related_name="regions")
    region = models.CharField(max_length=12, choices=choices_of(Region))
    side = models.CharField(max_length=7, choices=choices_of(RegionSide))
    involvement = models.CharField(max_length=8, choices=choices_of(Involvement))

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["episode", "region", "side"], name="region_once_per_episode"
            ),
            models.CheckConstraint(
                condition=Q(region__in=check_values(Region))
                & Q(side__in=check_values(RegionSide))
                & Q(involvement__in=check_values(Involvement)),
                name="region_words_are_known",
            ),
            models.CheckConstraint(
                condition=~Q(side=RegionSide.MIDLINE) | Q(region__in=MIDLINE_REGIONS),
                name="paired_region_has_side",
            ),
        ]

    def __str__(self) -> str:
        return region_name(self.region, self.side)


class PhaseChange(models.Model):
    """From when an episode was in a phase, and why. The latest row is the present phase."""

    episode = models.ForeignKey(Episode, models.PROTECT, related_name="phase_changes")
    phase = models.CharField(max_length=12, choices=choices_of(Phase))
    since_on = models.DateField()
    reason = models.CharField(max_length=300)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["since_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(phase__in=check_values(Phase)), name="phase_is_known"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="phase_change_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.phase} since {self.since_on:%Y-%m-%d}"


class CancerTreatment(models.Model):
    """What every cancer treatment has: perhaps a date, perhaps a note."""

    done_on = models.DateField("date", null=True, blank=True, help_text="Leave empty if unknown.")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True
        ordering = ["done_on", "pk"]


class Surgery(CancerTreatment):
    client = models.ForeignKey(Client, models.PROTECT, related_name="surgeries")
    operation = models.CharField(max_length=14, choices=choices_of(Operation))
    side = models.CharField(max_length=7, choices=choices_of(RegionSide))

    def __str__(self) -> str:
        side = "" if self.side == RegionSide.MIDLINE else f"{self.side} "
        return f"{side}{Operation(self.operation).label}"


class NodeSurgery(CancerTreatment):
    client = models.ForeignKey(Client, models.PROTECT, related_name="node_surgeries")
    procedure = models.CharField(max_length=8, choices=choices_of(NodeProcedure))
    basin = models.CharField(max_length=9, choices=choices_of(Basin))
    side = models.CharField(max_length=5, choices=choices_of(Side))
    nodes_removed = models.PositiveSmallIntegerField(null=True, blank=True)
    nodes_positive = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta(CancerTreatment.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(nodes_removed__isnull=True) | Q(nodes_removed__lte=100),
                name="nodes_removed_at_most_100",
            ),
            models.CheckConstraint(
                condition=Q(nodes_positive__isnull=True)
                | Q(nodes_positive__lte=F("nodes_removed")),
                name="positive_nodes_were_removed",
            ),
        ]

    def __str__(self) -> str:
        basin, procedure = Basin(self.basin).label, NodeProcedure(self.procedure).label
        count = f" ({self.nodes_removed} nodes)" if self.nodes_removed is not None else ""
        return f"{procedure}, {self.side} {basin}{count}"


class Irradiation(CancerTreatment):
    client = models.ForeignKey(Client, models.PROTECT, related_name="irradiations")
    field = models.CharField(max_length=10, choices=choices_of(RadiationField))
    side = models.CharField(max_length=7, choices=choices_of(RegionSide))

    def __str__(self) -> str:
        side = "" if self.side == RegionSide.MIDLINE else f"{self.side} "
        return f"radiation, {side}{RadiationField(self.field).label}"


class DrugTreatment(CancerTreatment):
    client = models.ForeignKey(Client, models.PROTECT, related_name="drug_treatments")
    drugs = models.CharField(max_length=12, choices=choices_of(Drugs))
    ended_on = models.DateField("ended", null=True, blank=True)

    class Meta(CancerTreatment.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_on__isnull=True)
                | Q(done_on__isnull=True)
                | Q(ended_on__gte=F("done_on")),
                name="drugs_end_after_start",
            ),
        ]

    def __str__(self) -> str:
        return Drugs(self.drugs).label


class PrecautionFound(models.Model):
    """A precaution found on a day; cleared on another, by a person, for a reason."""

    client = models.ForeignKey(Client, models.PROTECT, related_name="precautions")
    precaution = models.CharField(max_length=24, choices=choices_of(Precaution))
    found_on = models.DateField()
    found_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    cleared_on = models.DateField(null=True, blank=True)
    cleared_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    cleared_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["cleared_on", "found_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["client", "precaution"],
                condition=Q(cleared_on__isnull=True),
                name="precaution_open_once",
            ),
            models.CheckConstraint(
                condition=Q(cleared_on__isnull=True)
                | (
                    Q(cleared_on__gte=F("found_on"))
                    & Q(cleared_by__isnull=False)
                    & ~Q(cleared_reason="")
                ),
                name="clearing_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(precaution__in=check_values(Precaution)), name="precaution_is_known"
            ),
        ]

    def __str__(self) -> str:
        return Precaution(self.precaution).label

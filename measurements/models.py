"""How limbs are taped, what was taped, and what was found."""

import uuid
from functools import reduce
from operator import or_

import pgtrigger
from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from clinic.clients.models import AffectedRegion, Episode
from clinic.common.choices import check_values, choices_of
from clinic.common.triggers import no_truncate
from clinic.common.vocabulary import Limb, Posture, Side, Stage
from measurements.kept_standing import KeptStanding
from measurements.limb.instruments import SPECS, Instrument, Part
from measurements.limb.levels import EndHandling
from measurements.limb.staging import Elevation, Fibrosis, Pitting, Stemmer

__all__ = ["KeptStanding"]

USED_PROTOCOL = (
    "IF {changed} AND EXISTS"
    " (SELECT 1 FROM measurements_girthsession WHERE protocol_id = {key}) THEN"
    " RAISE EXCEPTION 'a protocol that has been used cannot be changed';"
    " END IF;"
    " IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;"
    " RETURN NEW;"
)


class Protocol(models.Model):
    """Where the tape goes on one kind of limb. Once used it can only be superseded."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=60)
    limb = models.CharField(max_length=3, choices=choices_of(Limb))
    start_landmark = models.CharField(
        max_length=120, help_text="The fixed point the tape positions are counted from."
    )
    end_handling = models.CharField("hand or foot", max_length=16, choices=choices_of(EndHandling))
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    retired_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["limb", "name", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["name"],
                condition=Q(retired_at__isnull=True),
                name="protocol_name_once_in_use",
            ),
            models.CheckConstraint(
                condition=Q(limb__in=check_values(Limb)), name="protocol_limb_is_known"
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="used_protocol_stays",
                when=pgtrigger.Before,
                operation=pgtrigger.Update | pgtrigger.Delete,
                func=USED_PROTOCOL.format(
                    key="OLD.id",
                    changed="(TG_OP = 'DELETE' OR (OLD.name, OLD.limb, OLD.start_landmark,"
                    " OLD.end_handling) IS DISTINCT FROM (NEW.name, NEW.limb, NEW.start_landmark,"
                    " NEW.end_handling))",
                ),
            )
        ]

    def __str__(self) -> str:
        return self.name


class ProtocolStation(models.Model):
    """One tape position of a protocol."""

    protocol = models.ForeignKey(Protocol, models.CASCADE, related_name="stations")
    level_cm = models.DecimalField(
        max_digits=4, decimal_places=1, validators=[MinValueValidator(0), MaxValueValidator(120)]
    )
    label = models.CharField(max_length=60)

    class Meta:
        ordering = ["level_cm"]
        constraints = [
            models.UniqueConstraint(fields=["protocol", "level_cm"], name="station_once_per_level"),
            models.CheckConstraint(
                condition=Q(level_cm__gte=0) & Q(level_cm__lte=120), name="station_on_the_limb"
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="used_stations_stay",
                when=pgtrigger.Before,
                operation=pgtrigger.Update | pgtrigger.Delete,
                func=USED_PROTOCOL.format(key="OLD.protocol_id", changed="TRUE"),
            ),
            pgtrigger.Trigger(
                name="no_station_added_to_used",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func=USED_PROTOCOL.format(key="NEW.protocol_id", changed="TRUE"),
            ),
        ]

    def __str__(self) -> str:
        return self.label


class GirthSession(models.Model):
    """One occasion of taping one pair of limbs, kept as taped; struck out, never corrected."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    episode = models.ForeignKey(Episode, models.PROTECT, related_name="girth_sessions")
    protocol = models.ForeignKey(Protocol, models.PROTECT, related_name="sessions")
    limb = models.CharField(max_length=3, choices=choices_of(Limb))
    taken_on = models.DateField()
    taken_at = models.TimeField("time of day", null=True, blank=True)
    round = models.PositiveSmallIntegerField(
        default=1, help_text="1 for the first taping of this limb on a day, then 2, 3."
    )
    posture = models.CharField(max_length=8, choices=choices_of(Posture))
    weight_kg = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    is_baseline = models.BooleanField(default=False)
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    struck_at = models.DateTimeField(null=True, blank=True, editable=False)
    struck_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    struck_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["taken_on", "round"]
        indexes = [models.Index(fields=["episode", "limb", "taken_on"], name="session_by_episode")]
        constraints = [
            models.UniqueConstraint(
                fields=["episode", "limb", "taken_on", "round"],
                condition=Q(struck_at__isnull=True),
                name="session_once_per_round",
            ),
            models.UniqueConstraint(
                fields=["episode", "limb"],
                condition=Q(is_baseline=True, struck_at__isnull=True),
                name="one_baseline_per_limb",
            ),
            models.CheckConstraint(
                condition=Q(weight_kg__isnull=True) | (Q(weight_kg__gte=2) & Q(weight_kg__lte=400)),
                name="weight_of_a_person",
            ),
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True)
                | (Q(struck_by__isnull=False) & ~Q(struck_reason="")),
                name="striking_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(posture__in=check_values(Posture)) & Q(limb__in=check_values(Limb)),
                name="session_words_are_known",
            ),
        ]
        triggers = [
            no_truncate("no_session_truncate"),
            pgtrigger.Protect(name="kept_as_taped", operation=pgtrigger.Delete),
            pgtrigger.Protect(
                name="taped_facts_stay",
                operation=pgtrigger.Update,
                condition=pgtrigger.AnyChange(
                    "episode",
                    "protocol",
                    "limb",
                    "taken_on",
                    "taken_at",
                    "round",
                    "posture",
                    "weight_kg",
                    "note",
                    "taken_by",
                    "recorded_at",
                    "replaces",
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.limb} girths of {self.taken_on:%Y-%m-%d}"


class GirthReading(models.Model):
    """One girth at one level of one limb, exactly as taped."""

    session = models.ForeignKey(GirthSession, models.PROTECT, related_name="readings")
    side = models.CharField(max_length=5, choices=choices_of(Side))
    level_cm = models.DecimalField(max_digits=4, decimal_places=1)  # from the limb's zero mark
    trial = models.PositiveSmallIntegerField(default=1)
    girth_cm = models.DecimalField(max_digits=5, decimal_places=2)  # 2 places: inches convert
    was_confirmed = models.BooleanField(default=False)  # unusual, asked about, and kept

    class Meta:
        ordering = ["side", "level_cm", "trial"]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "side", "level_cm", "trial"], name="girth_once_per_level"
            ),
            models.CheckConstraint(condition=Q(girth_cm__gt=0), name="girth_above_zero"),
            models.CheckConstraint(
                condition=Q(trial__gte=1) & Q(trial__lte=3), name="at_most_three_trials"
            ),
            models.CheckConstraint(
                condition=Q(side__in=check_values(Side)), name="reading_side_is_known"
            ),
        ]
        triggers = [
            no_truncate("no_reading_truncate"),
            pgtrigger.Protect(name="reading_stays", operation=pgtrigger.Update | pgtrigger.Delete),
        ]

    def __str__(self) -> str:
        return f"{self.side} {self.level_cm} cm: {self.girth_cm} cm"


class EndReading(models.Model):
    """The hand or foot of one side: a figure-of-eight length or a displaced volume, never both."""

    session = models.ForeignKey(GirthSession, models.PROTECT, related_name="end_readings")
    side = models.CharField(max_length=5, choices=choices_of(Side))
    figure_of_eight_cm = models.DecimalField(max_digits=4, decimal_places=1, null=True)
    displaced_ml = models.DecimalField(max_digits=5, decimal_places=0, null=True)

    class Meta:
        ordering = ["side"]
        constraints = [
            models.UniqueConstraint(fields=["session", "side"], name="end_once_per_side"),
            models.CheckConstraint(
                condition=Q(figure_of_eight_cm__gt=0, displaced_ml__isnull=True)
                | Q(figure_of_eight_cm__isnull=True, displaced_ml__gt=0),
                name="one_end_measure_above_zero",
            ),
        ]
        triggers = [
            pgtrigger.Protect(
                name="end_reading_stays", operation=pgtrigger.Update | pgtrigger.Delete
            )
        ]

    def __str__(self) -> str:
        return f"{self.side}: {self.figure_of_eight_cm or self.displaced_ml}"


class GirthDraft(models.Model):
    """What a therapist has typed for an episode and not yet recorded, field by field."""

    episode = models.ForeignKey(Episode, models.CASCADE, related_name="girth_drafts")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="girth_drafts")
    limb = models.CharField(max_length=3, choices=choices_of(Limb))
    typed = models.JSONField()
    saved_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["episode", "by", "limb"], name="one_draft_each")
        ]

    def __str__(self) -> str:
        return f"draft of {self.saved_at:%Y-%m-%d %H:%M}"


class LimbFindings(models.Model):
    """Findings of one region on one day, the stage they suggest and the stage decided.

    A later look is a new row: the history is kept.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    region = models.ForeignKey(AffectedRegion, models.PROTECT, related_name="findings")
    found_on = models.DateField()
    found_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    swelling_visible = models.BooleanField()
    pitting = models.CharField(max_length=12, choices=choices_of(Pitting))
    elevation = models.CharField(max_length=12, choices=choices_of(Elevation))
    stemmer = models.CharField(max_length=12, choices=choices_of(Stemmer))
    fibrosis = models.CharField(max_length=12, choices=choices_of(Fibrosis))
    skin_changes = ArrayField(models.CharField(max_length=20), default=list, blank=True)
    symptoms = ArrayField(models.CharField(max_length=20), default=list, blank=True)
    note = models.CharField(max_length=500, blank=True)
    suggested_stage = models.CharField(max_length=7, choices=choices_of(Stage), blank=True)
    suggested_because = ArrayField(models.TextField(), default=list)
    stage = models.CharField(max_length=7, choices=choices_of(Stage))
    override_reason = models.CharField(max_length=300, blank=True)
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["found_on", "recorded_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(stage__in=check_values(Stage)), name="stage_is_known"
            ),
            models.CheckConstraint(
                condition=Q(stage=F("suggested_stage")) | ~Q(override_reason=""),
                name="override_has_reason",
            ),
        ]
        triggers = [
            no_truncate("no_findings_truncate"),
            pgtrigger.Protect(name="findings_stay", operation=pgtrigger.Update | pgtrigger.Delete),
        ]

    def __str__(self) -> str:
        return f"stage {self.stage} on {self.found_on:%Y-%m-%d}"


# How a score's constraint knows each instrument's range; the registry is `limb.instruments`.
SCORE_RANGES = [
    Q(instrument=each.value, score__gte=spec.lowest, score__lte=spec.highest)
    for each, spec in SPECS.items()
]
PER_SIDE = [each.value for each, spec in SPECS.items() if spec.is_per_side]


class OutcomeScore(models.Model):
    """One score of one instrument, as given; struck out with a reason, never corrected.

    A questionnaire's items are kept as numbers only: their wording is not in the product.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    episode = models.ForeignKey(Episode, models.PROTECT, related_name="outcome_scores")
    instrument = models.CharField(max_length=12, choices=choices_of(Instrument))
    side = models.CharField(max_length=5, choices=choices_of(Side), blank=True)
    part = models.CharField(max_length=12, choices=choices_of(Part), blank=True)
    scored_on = models.DateField()
    score = models.DecimalField(max_digits=8, decimal_places=3)  # in the instrument's unit
    items = ArrayField(models.DecimalField(max_digits=6, decimal_places=1, null=True), default=list)
    activities = ArrayField(models.CharField(max_length=80), default=list)  # the client's words
    note = models.CharField(max_length=300, blank=True)
    scored_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)
    struck_at = models.DateTimeField(null=True, blank=True, editable=False)
    struck_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    struck_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["scored_on", "recorded_at", "pk"]
        indexes = [models.Index(fields=["episode", "scored_on"], name="score_by_episode")]
        constraints = [
            models.CheckConstraint(
                condition=reduce(or_, SCORE_RANGES), name="score_within_its_range"
            ),
            models.CheckConstraint(
                condition=Q(instrument__in=PER_SIDE, side__in=check_values(Side))
                | (~Q(instrument__in=PER_SIDE) & Q(side="")),
                name="score_side_is_known",
            ),
            models.CheckConstraint(
                condition=Q(part__in=["", *check_values(Part)]), name="score_part_is_known"
            ),
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True)
                | (Q(struck_by__isnull=False) & ~Q(struck_reason="")),
                name="score_striking_has_reason",
            ),
        ]
        triggers = [
            no_truncate("no_score_truncate"),
            pgtrigger.Protect(name="score_kept", operation=pgtrigger.Delete),
            pgtrigger.Protect(
                name="score_stays",
                operation=pgtrigger.Update,
                condition=pgtrigger.AnyChange(exclude=["struck_at", "struck_by", "struck_reason"]),
            ),
            pgtrigger.Protect(
                name="struck_score_stays",
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__struck_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.instrument} {self.side} {self.score} on {self.scored_on:%Y-%m-%d}"

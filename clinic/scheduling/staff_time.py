"""When therapists work, which rooms there are, and what kinds of appointment."""

from django.conf import settings
from django.contrib.postgres.fields import DateTimeRangeField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from clinic.common.choices import check_values, choices_of
from clinic.scheduling.words import Purpose, Tone

USER = settings.AUTH_USER_MODEL
SHORTEST_MIN, LONGEST_MIN = 5, 480


def whole(field: str = "period") -> Q:
    """A span with both ends, not empty, of which the last moment is no part."""
    return Q(
        **{
            f"{field}__isempty": False,
            f"{field}__lower_inf": False,
            f"{field}__upper_inf": False,
            f"{field}__lower_inc": True,
            f"{field}__upper_inc": False,
        }
    )


class Room(models.Model):
    """A treatment room."""

    name = models.CharField(max_length=40, unique=True)
    place = models.PositiveSmallIntegerField("order", default=0)
    is_active = models.BooleanField("in use", default=True)

    class Meta:
        ordering = ["place", "name"]

    def __str__(self) -> str:
        return self.name


class WorkingHours(models.Model):
    """One stretch in which a therapist sees clients on a weekday, local wall time."""

    therapist = models.ForeignKey(USER, models.PROTECT, related_name="working_hours")
    weekday = models.PositiveSmallIntegerField()  # Monday is 0
    from_time = models.TimeField()
    to_time = models.TimeField()
    room = models.ForeignKey(Room, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["therapist", "weekday", "from_time"]
        constraints = [
            models.CheckConstraint(condition=Q(weekday__lte=6), name="weekday_is_one_of_seven"),
            models.CheckConstraint(
                condition=Q(to_time__gt=F("from_time")), name="hours_end_after_start"
            ),
            models.UniqueConstraint(
                fields=["therapist", "weekday", "from_time"], name="hours_start_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.weekday} {self.from_time:%H:%M}-{self.to_time:%H:%M}"


class TimeOff(models.Model):
    """A span in which a therapist is away."""

    therapist = models.ForeignKey(USER, models.PROTECT, related_name="time_off")
    period = DateTimeRangeField()
    reason = models.CharField(max_length=80, blank=True)
    by = models.ForeignKey(USER, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["period"]
        constraints = [models.CheckConstraint(condition=whole(), name="time_off_is_whole")]

    def __str__(self) -> str:
        return f"{self.therapist} away {self.period}"


class Closure(models.Model):
    """Days on which the whole clinic is closed, both named days included."""

    title = models.CharField(max_length=80)
    first_on = models.DateField("first day")
    last_on = models.DateField("last day")

    class Meta:
        ordering = ["first_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(last_on__gte=F("first_on")), name="closure_ends_after_start"
            )
        ]

    def __str__(self) -> str:
        return self.title


class AppointmentKind(models.Model):
    """A kind of appointment: its usual length, its colour and its mark."""

    name = models.CharField(max_length=40, unique=True)
    purpose = models.CharField(max_length=16, choices=choices_of(Purpose), default=Purpose.OTHER)
    minutes = models.PositiveSmallIntegerField(
        "usual length in minutes",
        validators=[MinValueValidator(SHORTEST_MIN), MaxValueValidator(LONGEST_MIN)],
    )
    tone = models.CharField("colour", max_length=6, choices=choices_of(Tone), default=Tone.STONE)
    mark = models.CharField(max_length=2, unique=True, help_text="One or two letters.")
    bring = models.CharField(
        "to bring or sign", max_length=200, blank=True, help_text="Printed on the day sheet."
    )
    place = models.PositiveSmallIntegerField("order", default=0)
    is_active = models.BooleanField("in use", default=True)

    class Meta:
        ordering = ["place", "name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(purpose__in=check_values(Purpose)) & Q(tone__in=check_values(Tone)),
                name="kind_words_are_known",
            ),
            models.CheckConstraint(
                condition=Q(minutes__gte=SHORTEST_MIN, minutes__lte=LONGEST_MIN),
                name="kind_minutes_are_possible",
            ),
        ]

    def __str__(self) -> str:
        return self.name

"""Staff accounts and the practice itself."""

from datetime import datetime
from typing import ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from clinic.accounts.access import AccountEvent, RecoveryCode, SecondFactor, SignedIn
from clinic.common.choices import check_values, choices_of
from clinic.common.vocabulary import Role, Word

__all__ = ["AccountEvent", "RecoveryCode", "SecondFactor", "SignedIn"]


class StaffManager(BaseUserManager["User"]):
    """Finds a person by sign-in name, however it is capitalised."""

    def get_by_natural_key(self, username: str | None) -> "User":
        return self.get(sign_in_name__iexact=username or "")


class User(AbstractBaseUser):
    """A member of staff."""

    sign_in_name = models.CharField(max_length=40, unique=True)
    display_name = models.CharField("name", max_length=80)
    credentials = models.CharField(
        max_length=80, blank=True, help_text="As they stand under a letter, for example PT, DPT."
    )
    role = models.CharField(max_length=12, choices=choices_of(Role))
    needs_cosignature = models.BooleanField(
        "notes need a co-signature",
        default=False,
        help_text="For a student or an assistant: a colleague signs the note as well.",
    )
    is_active = models.BooleanField(default=True)
    must_choose_password = models.BooleanField(default=True)
    # Until when a one-time password opens the account; None where the password has no end.
    one_time_until = models.DateTimeField(null=True, editable=False)

    objects: ClassVar[StaffManager] = StaffManager()

    USERNAME_FIELD = "sign_in_name"

    class Meta:
        verbose_name = "account"
        ordering = ["display_name"]
        constraints = [
            models.UniqueConstraint(
                Lower("sign_in_name"),
                name="sign_in_name_once",
                violation_error_message="Another account has this sign-in name.",
            ),
            models.CheckConstraint(condition=Q(role__in=check_values(Role)), name="role_is_known"),
            models.CheckConstraint(
                condition=Q(one_time_until=None) | Q(must_choose_password=True),
                name="own_password_has_no_end",
            ),
        ]

    def __str__(self) -> str:
        return self.display_name

    @property
    def is_clinical(self) -> bool:
        return self.role in {Role.THERAPIST, Role.CLINIC_LEAD}

    def one_time_is_over(self, now: datetime) -> bool:
        """Whether the password was a one-time one and nobody replaced it in time."""
        return self.one_time_until is not None and now >= self.one_time_until

    @property
    def signature(self) -> str:
        return ", ".join(filter(None, [self.display_name, self.credentials]))


class SavedView(models.Model):
    """What a person asked the caseload for, under a name, to come back to.

    `asked` holds filters and order only: never the words of a search, which may name a client.
    """

    owner = models.ForeignKey(User, models.CASCADE, related_name="saved_views")
    name = models.CharField(max_length=40)
    asked = models.JSONField(default=dict)
    is_default = models.BooleanField("opens first", default=False)

    class Meta:
        ordering = [Lower("name")]
        constraints = [
            models.UniqueConstraint(
                "owner",
                Lower("name"),
                name="view_name_once_each",
                violation_error_message="You have a view of this name. Choose another.",
            ),
            models.UniqueConstraint(
                fields=["owner"], condition=Q(is_default=True), name="one_default_view_each"
            ),
            models.CheckConstraint(condition=~Q(name=""), name="view_has_name"),
        ]

    def __str__(self) -> str:
        return self.name


class LengthShown(Word):
    CM = "cm", "centimetres"
    INCH = "inch", "inches"


class WeightShown(Word):
    KG = "kg", "kilograms"
    LB = "lb", "pounds"


class PaperSize(Word):
    A4 = "A4", "A4"
    LETTER = "letter", "US Letter"


class Practice(models.Model):
    """The practice as its letters and screens name it. One row, always number 1."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    name = models.CharField(max_length=120, default="Our practice")
    street = models.CharField(max_length=120, blank=True)
    town = models.CharField("town, state and postcode", max_length=120, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    fax = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    length_shown = models.CharField(
        "girths typed in", max_length=4, choices=choices_of(LengthShown), default=LengthShown.CM
    )
    weight_shown = models.CharField(
        "weights typed in", max_length=2, choices=choices_of(WeightShown), default=WeightShown.KG
    )
    paper_size = models.CharField(
        max_length=6, choices=choices_of(PaperSize), default=PaperSize.LETTER
    )

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="one_practice")]

    def __str__(self) -> str:
        return self.name

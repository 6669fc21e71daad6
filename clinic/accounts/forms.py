"""Forms about staff and the practice."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.password_validation import password_validators_help_texts
from django.urls import reverse

from clinic.accounts.models import Practice, User
from clinic.common.forms import PlainForm, PlainModelForm, form_layout


class SignInForm(AuthenticationForm):
    """Sign-in name and password."""

    error_messages = {
        "invalid_login": "That name and password do not belong together. Check both; capitals"
        " matter in the password.",
        "inactive": "This account is switched off. Ask the clinic lead.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Sign-in name"
        self.helper = form_layout("username", "password", save="Sign in")


class ChoosePasswordForm(PlainForm):
    """A new password, typed twice."""

    password = forms.CharField(
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        label="New password",
        strip=False,
    )
    again = forms.CharField(
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        label="The same once more",
        strip=False,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].help_text = " ".join(password_validators_help_texts())
        self.helper = form_layout("password", "again", save="Use this password")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("password") != cleaned.get("again"):
            self.add_error("again", "The two are not the same. Type the new password once more.")
        return cleaned


class StaffForm(PlainModelForm):
    """An account's details."""

    class Meta:
        model = User
        fields = [
            "sign_in_name",
            "display_name",
            "credentials",
            "role",
            "needs_cosignature",
            "is_active",
        ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            ("sign_in_name", "display_name"),
            ("credentials", "role"),
            "needs_cosignature",
            "is_active",
            save="Save account",
            back=reverse("staff"),
        )


class PracticeForm(PlainModelForm):
    """Letterhead and units."""

    class Meta:
        model = Practice
        fields = [
            "name",
            "street",
            "town",
            "phone",
            "fax",
            "email",
            "length_shown",
            "weight_shown",
            "paper_size",
        ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_layout(
            "name",
            ("street", "town"),
            ("phone", "fax", "email"),
            ("length_shown", "weight_shown", "paper_size"),
            save="Save",
            back=reverse("today"),
        )

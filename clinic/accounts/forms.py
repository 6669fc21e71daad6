"""Forms about staff and the practice."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.password_validation import password_validators_help_texts
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.locks import is_own_password
from clinic.accounts.models import Practice, User
from clinic.accounts.passwords import LONGEST, normalised
from clinic.accounts.permits import owes_second_factor
from clinic.accounts.second_step import CodeAnswer
from clinic.accounts.sentences import NOT_THE_CODE, code_sentence, one_time_over_sentence
from clinic.common.forms import PlainForm, PlainModelForm, form_layout


class PasswordText(forms.CharField):
    """A password as typed or pasted, spaces and all, its letters composed one way."""

    def __init__(self, *, autocomplete: str, **kwargs: Any) -> None:
        widget = forms.PasswordInput(attrs={"autocomplete": autocomplete, "data-show": "password"})
        super().__init__(widget=widget, strip=False, max_length=LONGEST, **kwargs)

    def to_python(self, value: Any) -> str:
        return normalised(super().to_python(value))


class SignInForm(AuthenticationForm):
    """Sign-in name and password."""

    error_messages = {
        "invalid_login": "That name and password do not belong together. Check both; capitals"
        " matter in the password.",
        "inactive": "This account is switched off. Ask the clinic lead.",
        "locked": "Too many attempts with this name from here. Wait 15 minutes and try again,"
        " or ask the clinic lead.",
    }
    password = PasswordText(autocomplete="current-password", label="Password")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Sign-in name"
        self.helper = form_layout("username", "password", save="Sign in")

    def get_invalid_login_error(self) -> ValidationError:
        is_locked = getattr(self.request, "axes_locked_out", False)
        code = "locked" if is_locked else "invalid_login"
        return ValidationError(self.error_messages[code], code=code)

    def confirm_login_allowed(self, user: Any) -> None:
        """Asked once the password was right, so that nobody else learns of the account.

        NIST SP 800-63B rev. 4, 4.4: an expired authenticator opens nothing, and its person is told.
        """
        super().confirm_login_allowed(user)
        if user.one_time_is_over(timezone.now()):
            raise ValidationError(one_time_over_sentence(user.one_time_until), code="over")


class CodeField(forms.CharField):
    """A code of the app or a recovery code; may be pasted, with spaces or without."""

    def __init__(self, **kwargs: Any) -> None:
        attrs = {"autocomplete": "one-time-code", "autocapitalize": "none", "spellcheck": "false"}
        super().__init__(widget=forms.TextInput(attrs=attrs), max_length=40, **kwargs)


class CodeForm(PlainForm):
    """The second step of a sign-in."""

    code = CodeField(
        label="Code",
        help_text="The six digits that your authenticator app shows now, or one of your recovery"
        " codes.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].widget.attrs["autofocus"] = True
        self.helper = form_layout("code", save="Sign in")

    def refuse(self, answer: CodeAnswer) -> None:
        self.add_error("code", code_sentence(answer))


class OwnPassword(PlainForm):
    """Asks a signed-in person for their password before something that matters."""

    password_now = PasswordText(autocomplete="current-password", label="Your password now")

    def __init__(self, *args: Any, request: HttpRequest, save: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request
        self.helper = form_layout("password_now", save=save, back=reverse("account"))

    def clean_password_now(self) -> str:
        if not is_own_password(self.request, self.cleaned_data["password_now"]):
            raise ValidationError("That is not your password.")
        return str(self.cleaned_data["password_now"])


class SetUpForm(OwnPassword):
    """The first code of a new app; replacing an app asks for the password as well."""

    code = CodeField(label="Code", help_text="The six digits that the app shows now.")
    sentence = staticmethod(lambda broken: NOT_THE_CODE)

    def __init__(self, *args: Any, is_first: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if is_first:
            del self.fields["password_now"]
        back = "" if owes_second_factor(self.request) else reverse("account")
        self.helper = form_layout(*self.fields, save="Turn on", back=back)


class ChoosePasswordForm(OwnPassword):
    """A new password, typed or pasted twice."""

    password = PasswordText(autocomplete="new-password", label="New password")
    again = PasswordText(autocomplete="new-password", label="The same once more")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.request.user.must_choose_password:
            del self.fields["password_now"]
        helps = filter(None, password_validators_help_texts())
        self.fields["password"].help_text = " ".join(helps)
        self.helper = form_layout(*self.fields, save="Use this password")

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
        labels = {"sign_in_name": "Sign-in name", "is_active": "May sign in"}

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

    def validate_unique(self) -> None:
        """The constraint has looked already, whatever the capitals: its sentence goes beside."""
        for sentence in self.errors.pop(NON_FIELD_ERRORS, []):
            self.add_error("sign_in_name", sentence)


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

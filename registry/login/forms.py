"""The forms of the log-in library in this site's words."""

from __future__ import annotations

from typing import Any

from allauth.account.forms import LoginForm, ReauthenticateForm
from allauth.mfa.adapter import get_adapter
from allauth.mfa.base.forms import AuthenticateForm
from allauth.mfa.base.forms import ReauthenticateForm as ReauthenticateByCodeForm
from allauth.mfa.totp.forms import ActivateTOTPForm
from allauth.mfa.webauthn.forms import (
    AddWebAuthnForm,
    AuthenticateWebAuthnForm,
    EditWebAuthnForm,
    LoginWebAuthnForm,
    ReauthenticateWebAuthnForm,
)
from django.core.exceptions import ValidationError
from django.forms import Form, HiddenInput, JSONField
from django.utils.translation import gettext_lazy as _

LABELS = {
    "login": _("User name"),
    "password": _("Password"),
    "code": _("Code"),
    "name": _("Name of the passkey"),
    "passwordless": _("Log in with it alone"),
}
HELP = {
    "code": _("Six digits of your authenticator app, or one of your recovery codes."),
    "name": _("Tells your passkeys apart, for example Blue key or Phone."),
    "passwordless": _("Needs a device that asks for a PIN, finger or face."),
}

LONGEST_CREDENTIAL = 20_000
UNREADABLE = (AttributeError, KeyError, TypeError, ValueError, RecursionError)


def refusal() -> ValidationError:
    """A code or passkey that does not fit."""
    refused: ValidationError = get_adapter().validation_error("incorrect_code")
    return refused


class Worded(Form):
    """Labels and help instead of placeholders; no link to a page that does not exist."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            field.label = LABELS.get(name, field.label)
            field.help_text = str(HELP.get(name, ""))
            field.widget.attrs.pop("placeholder", None)
        if "login" in self.fields:
            self.fields["login"].widget.attrs["autofocus"] = True
        if "code" in self.fields:
            self.fields["code"].widget.attrs |= {"inputmode": "numeric", "autofocus": True}


class CredentialField(JSONField):
    """What a browser answers for a passkey, as JSON."""

    def to_python(self, value: Any) -> Any:
        if isinstance(value, str) and len(value) > LONGEST_CREDENTIAL:
            raise refusal()
        try:
            return super().to_python(value)
        except RecursionError as error:
            raise refusal() from error


class Guarded(Form):
    """Whatever a credential holds that the library cannot read is a wrong answer, not a fault of the server."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["credential"] = CredentialField(widget=HiddenInput)

    def full_clean(self) -> None:
        try:
            super().full_clean()
        except UNREADABLE:
            self.add_error("credential", refusal())


class PasskeyAlone(Guarded, LoginWebAuthnForm):
    """A passkey instead of a password."""


class PasskeySecond(Guarded, AuthenticateWebAuthnForm):
    """A passkey beside the password."""


class PasskeyAgain(Guarded, ReauthenticateWebAuthnForm):
    """A passkey of the person who is logged in."""


class LogIn(Worded, LoginForm):
    """User name and password."""


class PasswordAgain(Worded, ReauthenticateForm):
    """The password of the person who is logged in."""


class SecondFactor(Worded, AuthenticateForm):
    """A code at log-in."""


class CodeAgain(Worded, ReauthenticateByCodeForm):
    """A code of the person who is logged in."""


class AppCode(Worded, ActivateTOTPForm):
    """The first code of a new authenticator app."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].help_text = str(_("The six digits that the app shows now."))


class NewPasskey(Guarded, Worded, AddWebAuthnForm):
    """A new passkey."""


class PasskeyName(Worded, EditWebAuthnForm):
    """The name of a passkey."""

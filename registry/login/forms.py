"""The forms of the log-in library in this site's words."""

from __future__ import annotations

from typing import Any

from allauth.account.forms import LoginForm, ReauthenticateForm
from allauth.mfa.base.forms import AuthenticateForm
from allauth.mfa.base.forms import ReauthenticateForm as ReauthenticateByCodeForm
from allauth.mfa.totp.forms import ActivateTOTPForm
from allauth.mfa.webauthn.forms import AddWebAuthnForm, EditWebAuthnForm
from django.forms import Form
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


class Worded(Form):
    """Labels and help instead of placeholders; no link to a page that does not exist."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            field.label = LABELS.get(name, field.label)
            field.help_text = str(HELP.get(name, ""))
            field.widget.attrs.pop("placeholder", None)
        if "code" in self.fields:
            self.fields["code"].widget.attrs |= {"inputmode": "numeric", "autofocus": True}


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


class NewPasskey(Worded, AddWebAuthnForm):
    """A new passkey."""


class PasskeyName(Worded, EditWebAuthnForm):
    """The name of a passkey."""

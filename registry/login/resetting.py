"""A password that was forgotten, by mail: who may, what is sent, and what is noted of it."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from allauth.account.forms import ResetPasswordForm, ResetPasswordKeyForm, UserTokenForm
from django.conf import settings
from django.core.validators import MaxLengthValidator
from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from registry.login.forms import LABELS, Worded
from registry.models import User
from registry.services.people import LONGEST_PASSWORD

LABELS |= {
    "email": _("E-mail"),
    "password1": _("New password"),
    "password2": _("New password, once more"),
}
View = Callable[..., HttpResponse]


def where_mail_goes_out(view: View) -> View:
    """The page is there only where the installation has a mail server."""

    @wraps(view)
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not settings.PASSWORD_RESET_BY_MAIL:
            raise Http404
        return view(request, *args, **kwargs)

    return answered


def may_reset(person: User) -> bool:
    """Whether a mail may give this person a new password.

    Not the administrator of the installation (the shell does: ``manage.py changepassword``), nor who logs in through a
    service alone: a mailbox must not open what the service guards. A second factor is asked for afterwards as before.
    """
    return person.is_active and not person.is_superuser and person.has_usable_password()


class Forgotten(Worded, ResetPasswordForm):
    """The address of whoever forgot the password; the answer is the same whoever it belongs to."""

    users: list[User]

    def clean_email(self) -> str:
        email: str = super().clean_email()
        self.users = [person for person in self.users if may_reset(person)]
        return email


class Token(UserTokenForm):
    """The link of the mail: good once, for an hour, and only while its owner may still use it."""

    def _get_user(self, uidb36: str) -> User | None:
        try:
            person: User | None = super()._get_user(uidb36)
        except (OverflowError, TypeError):
            return None
        return person if person is not None and may_reset(person) else None


class NewPassword(Worded, ResetPasswordKeyForm):
    """The new password, twice."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.validators.append(MaxLengthValidator(LONGEST_PASSWORD))
            field.widget.attrs["maxlength"] = LONGEST_PASSWORD

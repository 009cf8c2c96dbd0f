"""What the log-in library asks of this site: its words, its limits, and what it notes in the change log."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.core.internal import ratelimit
from allauth.core.internal.httpkit import get_client_ip
from allauth.mfa.adapter import DefaultMFAAdapter
from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ImproperlyConfigured
from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from registry.models import User
from registry.sealing import seal, unseal
from registry.services.changes import recorded
from registry.services.notices import in_background
from registry.services.people import note_own_password
from registry.services.second_factors import note_factor
from registry.services.sessions import end_sessions

MESSAGES = {
    "account/messages/password_changed.txt": _("Your new password is set: log in with it."),
    "mfa/messages/totp_activated.txt": _("The authenticator app is set up."),
    "mfa/messages/totp_deactivated.txt": _("The authenticator app is removed."),
    "mfa/messages/webauthn_added.txt": _("The passkey is added."),
    "mfa/messages/webauthn_removed.txt": _("The passkey is removed."),
    "mfa/messages/recovery_codes_generated.txt": _("New recovery codes are made; older ones no longer work."),
}
"""What the library tells people, by the name it gives the message; what is not here goes without saying."""
RESET_BY_MAIL = "Forgotten, reset by mail"
NO_ADDRESS = "0.0.0.0"  # noqa: S104  # nosec B104
FACTOR_DEEDS = {
    "mfa/email/totp_activated": "authenticator app set up",
    "mfa/email/totp_deactivated": "authenticator app removed",
    "mfa/email/webauthn_added": "passkey added",
    "mfa/email/webauthn_removed": "passkey removed",
    "mfa/email/recovery_codes_generated": "recovery codes made",
}

ADDED = frozenset({"mfa/email/totp_activated", "mfa/email/webauthn_added"})


class Accounts(DefaultAccountAdapter):
    """Accounts are made by administrators; failures are counted by account and address."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "username_password_mismatch": _(
            "User name and password do not belong together. The password is case-sensitive."
        ),
        "incorrect_password": _("This is not your password."),
        "incorrect_code": _("This code or passkey does not fit: try again with a fresh one."),
        "too_many_login_attempts": _(
            "Too many attempts failed for this account from your address: wait five minutes, then try again."
        ),
        "rate_limited": _("Too many attempts: wait five minutes, then try again."),
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def add_message(
        self,
        request: HttpRequest,
        level: int,
        message_template: str | None = None,
        message_context: dict[str, Any] | None = None,
        extra_tags: str = "",
        message: str | None = None,
    ) -> None:
        """Messages in this site's words; the pages themselves say who is logged in."""
        if text := message or MESSAGES.get(message_template or ""):
            messages.add_message(request, level, str(text), extra_tags=extra_tags)

    def format_email_subject(self, subject: str) -> str:
        return f"Unlit: {subject}"

    def get_reset_password_from_key_url(self, key: str) -> str:
        """At the address of this site, whatever host the request named."""
        path = reverse("account_reset_password_from_key", kwargs={"uidb36": "UID", "key": "KEY"})
        return settings.SITE_URL + path.replace("UID-KEY", key)

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """Sent in the background: neither a slow mail server nor a known address makes the answer come later."""
        mail = self.render_mail(template_prefix, email, context)
        in_background(mail.send)

    def set_password(self, user: User, password: str) -> None:
        """A forgotten password is replaced: all sessions end, and the change log keeps it."""
        with recorded():
            user = User.objects.select_for_update().get(pk=user.pk)
            user.set_password(password)
            user.save(update_fields=["password"])
            end_sessions(user)
            note_own_password(user, reason=RESET_BY_MAIL)

    def get_client_ip(self, request: HttpRequest) -> str:
        """The address that failures are counted by; one for all where none can be told, for instance on a socket."""
        try:
            return get_client_ip(request) or NO_ADDRESS
        except ImproperlyConfigured:
            return NO_ADDRESS

    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: Any) -> str:
        """Whoever guesses at an account from one address keeps nobody out who comes from another."""
        name = str(credentials.get("username", "")).casefold()
        return f"{ratelimit.truncate_ip(self.get_client_ip(request))}:{name}"

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        """Count the attempt before the password is looked at, whatever the method of the request: also of the API."""
        self._login_failed_rl_usage = ratelimit.consume(
            request,
            app="allauth.account",
            action="login_failed",
            key=self._get_login_attempts_cache_key(request, **credentials),
            limit_get=True,
        )
        if not self._login_failed_rl_usage:
            raise self.validation_error("too_many_login_attempts")

    def send_notification_mail(self, template_prefix: str, user: User, *args: Any, **kwargs: Any) -> None:
        """The library tells here of every change of how somebody logs in: it goes to the change log.

        Sessions that were opened without the new factor end, else they would go on without it for weeks.
        """
        if template_prefix in FACTOR_DEEDS:
            note_factor(user, FACTOR_DEEDS[template_prefix], actor=user)
        if template_prefix in ADDED:
            end_sessions(user, keep=self.request.session.session_key or "")
        super().send_notification_mail(template_prefix, user, *args, **kwargs)


class SecondFactors(DefaultMFAAdapter):
    """Names as people see them in their authenticator; secrets are stored sealed.

    What cannot be unsealed raises Unreadable, which the middleware beside this turns into a page.
    """

    error_messages = DefaultMFAAdapter.error_messages | {
        "incorrect_code": Accounts.error_messages["incorrect_code"],
    }

    def encrypt(self, text: str) -> str:
        return seal(text)

    def decrypt(self, encrypted_text: str) -> str:
        return unseal(encrypted_text)

    def get_totp_label(self, user: User) -> str:
        return user.username

    def _get_site_name(self) -> str:
        return "Unlit"

    def generate_authenticator_name(self, user: User, type: Any) -> str:
        return str(_("My passkey"))

"""Addresses of the log-in. The names are those that the log-in library asks for; what is not here does not exist."""

from allauth.account import views as account
from allauth.mfa.base import views as factors
from allauth.mfa.recovery_codes import views as recovery
from allauth.mfa.totp import views as totp
from allauth.mfa.webauthn import views as passkeys
from django.urls import path, re_path

from registry.login import views
from registry.login.resetting import where_mail_goes_out

urlpatterns = [
    path("login/", account.login, name="account_login"),
    path("login/passkey/", passkeys.login_webauthn, name="mfa_login_webauthn"),
    path("login/second/", factors.authenticate, name="mfa_authenticate"),
    path("login/inactive/", account.account_inactive, name="account_inactive"),
    path("login/with/<slug:provider_id>/", views.through, name="openid_connect_login"),
    path("login/with/<slug:provider_id>/callback/", views.back, name="openid_connect_callback"),
    path("login/cancelled/", views.cancelled, name="socialaccount_login_cancelled"),
    path("login/reset/", where_mail_goes_out(account.password_reset), name="account_reset_password"),
    path("login/reset/sent/", where_mail_goes_out(account.password_reset_done), name="account_reset_password_done"),
    re_path(
        r"^login/reset/(?P<uidb36>[0-9A-Za-z]{1,13})-(?P<key>[0-9A-Za-z-]{1,100})/$",
        where_mail_goes_out(account.password_reset_from_key),
        name="account_reset_password_from_key",
    ),
    path("login/reset/done/", where_mail_goes_out(views.reset), name="account_reset_password_from_key_done"),
    path("logout/", account.logout, name="account_logout"),
    path("account/", views.account, name="mfa_index"),
    path("account/again/", account.reauthenticate, name="account_reauthenticate"),
    path("account/again/second/", factors.reauthenticate, name="mfa_reauthenticate"),
    path("account/again/passkey/", passkeys.reauthenticate_webauthn, name="mfa_reauthenticate_webauthn"),
    path("account/app/", totp.activate_totp, name="mfa_activate_totp"),
    path("account/app/remove/", totp.deactivate_totp, name="mfa_deactivate_totp"),
    path("account/codes/", recovery.view_recovery_codes, name="mfa_view_recovery_codes"),
    path("account/codes/new/", recovery.generate_recovery_codes, name="mfa_generate_recovery_codes"),
    path("account/codes/recovery-codes.txt", recovery.download_recovery_codes, name="mfa_download_recovery_codes"),
    path("account/passkeys/", views.account, name="mfa_list_webauthn"),
    path("account/passkeys/add/", passkeys.add_webauthn, name="mfa_add_webauthn"),
    path("account/passkeys/<int:pk>/name/", passkeys.edit_webauthn, name="mfa_edit_webauthn"),
    path("account/passkeys/<int:pk>/remove/", passkeys.remove_webauthn, name="mfa_remove_webauthn"),
    path("account/language/", views.choose_language, name="language"),
    path("account/sessions/end/", views.end, name="sessions_end"),
]

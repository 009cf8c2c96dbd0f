"""``manage.py reset_mfa USER``: let somebody in again who lost their second factor."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.models import User
from registry.services.second_factors import reset_factors


class Command(BaseCommand):
    help = (
        "Take away all second factors (authenticator app, passkeys, recovery codes) of one person and end their "
        "sessions. They log in with their password and set up a new factor where their site requires one. The change "
        "log keeps it."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("user", help="user name of the person")

    def handle(self, *args: Any, **options: Any) -> None:
        person = User.objects.filter(username__iexact=options["user"]).first()
        if person is None:
            raise CommandError(f"There is nobody with the user name {options['user']}.")
        count = reset_factors(person)
        what = "had no second factor" if not count else "has no second factor any more; all sessions have ended"
        self.stdout.write(f"{person.username} ({person.printed_name}) {what}.")

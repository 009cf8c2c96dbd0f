"""People and what they are at each site."""

from django.contrib.auth.models import AbstractUser
from django.db import models

from registry.words import lazily as _


class User(AbstractUser):
    """A person who logs in. Deactivated when they leave, never deleted: what they signed keeps their name."""

    full_name = models.CharField(_("printed name"), max_length=120, blank=True)
    language = models.CharField(max_length=8, blank=True)
    """One of settings.LANGUAGES; empty for the one that the browser asks for."""

    class Meta:
        ordering = ["username"]

    def __str__(self) -> str:
        return self.printed_name

    @property
    def printed_name(self) -> str:
        """The name printed beside a signature."""
        return self.full_name or self.get_full_name() or self.username


class Role(models.TextChoices):
    """What a person may be at a site; registry/access.py says what each may do."""

    READER = "reader", "Reader"
    DESIGNER = "designer", _("Designer")
    APPROVER = "approver", _("Approver")
    PLANNER = "planner", _("Maintenance planner")
    KEEPER = "keeper", _("Register keeper")
    ADMINISTRATOR = "administrator", _("Site administrator")


class Membership(models.Model):
    """One role of one person at one site; a person may hold several."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    site = models.ForeignKey("registry.Site", on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=20, choices=Role.choices)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "site", "role"], name="membership_once")]

    def __str__(self) -> str:
        return f"{self.user} – {self.get_role_display()} at {self.site}"

"""Webhooks: other systems that are told what was done, and how telling them went."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from registry.models.sites import Site


class Webhook(models.Model):
    """An address that is told of deeds at one site and in the shared register; without a site, of all sites.

    `position` is the number of the last deed that it was told of: it goes on behind that, in order, so that none is
    left out. The secret that signs is sealed (registry.sealing). `taken_until` keeps two workers from telling it at the
    same time.
    """

    name = models.CharField(max_length=80)
    url = models.CharField(_("address"), max_length=300)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, related_name="webhooks")
    kinds = models.CharField(max_length=200, blank=True, help_text="Kinds of records, with commas; empty: all.")
    sealed_secret = models.TextField()
    position = models.BigIntegerField(default=0)
    failures = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField(null=True)
    taken_until = models.DateTimeField(null=True)
    paused_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.name

    @property
    def told_kinds(self) -> list[str]:
        """The kinds of records that it is told of; none: all."""
        return [kind for kind in self.kinds.split(",") if kind]


class Delivery(models.Model):
    """One attempt to tell a webhook of some deeds, from number `first` to `last`. Kept for a month."""

    webhook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="deliveries")
    at = models.DateTimeField()
    first = models.BigIntegerField()
    last = models.BigIntegerField()
    count = models.PositiveSmallIntegerField()
    status = models.PositiveSmallIntegerField(null=True)
    taken = models.BooleanField()
    fault = models.CharField(max_length=300, blank=True)
    took_ms = models.PositiveIntegerField()

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["webhook", "-id"], name="delivery_by_webhook")]

    def __str__(self) -> str:
        return f"{self.webhook}: {self.first} to {self.last}"

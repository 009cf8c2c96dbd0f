"""Tokens with which programs call the API in the name of a person."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from registry.models.sites import Site


class Scope(models.TextChoices):
    READ = "read", _("Read")
    WRITE = "write", _("Read and write")


class ApiToken(models.Model):
    """A token of one person. Of its secret only the SHA-256 is kept; `start` is what its owner knows it by.

    `site` narrows it to one site; empty: all sites of its person. It does nothing that its person may not do.
    """

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="api_tokens")
    name = models.CharField(max_length=80)
    scope = models.CharField(max_length=5, choices=Scope.choices, default=Scope.READ)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, related_name="api_tokens")
    start = models.CharField(max_length=12)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["person", "-id"], name="token_by_person")]

    def __str__(self) -> str:
        return self.name


class KeptAnswer(models.Model):
    """What a request with an idempotency key was answered, for a day: the same request again gets the same answer.

    `caller` is "user 5" or "token 7"; `mark` the digest of method, address and body. A row is written in the
    transaction of the request itself, so that neither is there without the other.
    """

    caller = models.CharField(max_length=30)
    key = models.CharField(max_length=200)
    mark = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(default=0)
    headers = models.JSONField(default=dict)
    body = models.JSONField(null=True)
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["caller", "key"], name="idempotency_key_once")]
        indexes = [models.Index(fields=["at"], name="kept_answer_by_time")]

    def __str__(self) -> str:
        return f"{self.caller}: {self.key}"

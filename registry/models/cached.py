"""Where Django's database cache keeps its values, so that all workers count failed attempts together."""

from django.db import models


class CachedValue(models.Model):
    """A row of the cache. Django's database cache alone reads and writes it; it may be emptied at any time."""

    cache_key = models.CharField(max_length=255, primary_key=True)
    value = models.TextField()
    expires = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return self.cache_key

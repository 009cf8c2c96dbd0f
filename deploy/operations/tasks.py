"""What an administrator has the worker do."""

from django_tasks import task


@task()
def live(mark: str) -> str:
    """Give the mark back: somebody does what waits."""
    return mark

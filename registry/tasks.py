"""What the register has done later, by the worker."""

from django_tasks import task

from registry.services import notices


@task()
def mail_notices(keys: list[int]) -> str:
    """Mail lines of inboxes."""
    return f"{notices.mail(keys)} mails sent."

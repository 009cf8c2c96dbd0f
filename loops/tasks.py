"""What loops have done later, by the worker."""

from django_tasks import task

from loops.services import basis


@task()
def judge_dependants(revision_keys: list[int]) -> str:
    """Judge the loops that rest on changed records of the register, and mark their issues."""
    return basis.rejudge(revision_keys)

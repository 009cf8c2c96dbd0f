"""How a step of the workflow says no."""


class WorkflowRefused(Exception):
    """The step cannot be taken now; the text says why and what to do."""

"""What is connected, and whether it holds."""

from loops.models.approvals import Approval, SignedWith, Verb, WorkflowEvent
from loops.models.basis import BasisChange
from loops.models.confirmations import Confirmation
from loops.models.loops import CableRun, Circuit, Loop, LoopState, Member, Terminator
from loops.models.reviews import Remark, ReviewAnswer, ReviewRequest, Withdrawal
from loops.models.studies import Study
from loops.models.tables import CurveTable
from loops.models.verifications import LoopVerdict, Purpose, Verification

__all__ = [
    "Approval",
    "BasisChange",
    "CableRun",
    "Circuit",
    "Confirmation",
    "CurveTable",
    "Loop",
    "LoopState",
    "LoopVerdict",
    "Member",
    "Purpose",
    "Remark",
    "ReviewAnswer",
    "ReviewRequest",
    "SignedWith",
    "Study",
    "Terminator",
    "Verb",
    "Verification",
    "Withdrawal",
    "WorkflowEvent",
]

"""What is certified, who may touch it, what it used to say."""

from registry.models.attachments import Attachment, AttachmentRetirement
from registry.models.cables import CableType
from registry.models.cached import CachedValue
from registry.models.certificates import Certificate, CertificateStatus
from registry.models.changes import Change, Deed
from registry.models.due import DueRun
from registry.models.equipment import Equipment, EquipmentKind, Level, PermittedRow, TemperatureRow, Terminals
from registry.models.notices import MailHold, Notice, NoticeKind
from registry.models.people import Membership, Role, User
from registry.models.revisions import Origin, Revision
from registry.models.schemes import Scheme
from registry.models.sites import Basis, HazardousArea, Site
from registry.models.tokens import ApiToken, KeptAnswer, Scope
from registry.models.views import ListLayout, SavedView
from registry.models.webhooks import Delivery, Webhook
from registry.models.works import Work, WorkState

__all__ = [
    "ApiToken",
    "Attachment",
    "AttachmentRetirement",
    "Basis",
    "CableType",
    "CachedValue",
    "Certificate",
    "CertificateStatus",
    "Change",
    "Deed",
    "Delivery",
    "DueRun",
    "Equipment",
    "EquipmentKind",
    "HazardousArea",
    "KeptAnswer",
    "Level",
    "ListLayout",
    "MailHold",
    "Membership",
    "Notice",
    "NoticeKind",
    "Origin",
    "PermittedRow",
    "Revision",
    "Role",
    "SavedView",
    "Scheme",
    "Scope",
    "Site",
    "TemperatureRow",
    "Terminals",
    "User",
    "Webhook",
    "Work",
    "WorkState",
]

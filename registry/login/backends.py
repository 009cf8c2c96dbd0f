"""Who a session belongs to: read with every request, so by a statement that is kept, and with what every page shows."""

from __future__ import annotations

from allauth.account.auth_backends import AuthenticationBackend
from django.db.models import Count, IntegerField, OuterRef, Subquery, Value
from django.db.models.functions import Coalesce

from registry.models import Notice, User
from registry.prepared import PreparedRead

UNREAD = (
    Notice.objects.filter(person=OuterRef("pk"), read_at=None)
    .order_by()
    .values("person")
    .annotate(number=Count("pk"))
    .values("number")
)
PERSON: PreparedRead[User] = PreparedRead(
    lambda pk: User.objects.filter(pk=pk).annotate(
        unread_notices=Coalesce(Subquery(UNREAD), Value(0), output_field=IntegerField())
    )
)


class Backend(AuthenticationBackend):
    """The way in is that of django-allauth; the person comes with the number of notices that they have not read."""

    def get_user(self, user_id: int) -> User | None:
        found = PERSON.first(user_id)
        return found if found is not None and self.user_can_authenticate(found) else None

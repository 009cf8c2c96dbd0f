"""How the API is described: every refusal that an operation may give, strict bodies, lean names."""

from __future__ import annotations

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter, OpenApiTypes

from registry.api.shapes import ProblemShape

LOOKS = frozenset({"GET"})
EVERYWHERE = ("400", "401", "403", "404", "406", "429", "503")
WITH_BODY = ("409", "413", "415", "422")
IF_MATCH = OpenApiParameter(
    "If-Match", OpenApiTypes.STR, OpenApiParameter.HEADER, required=True, description='The version read, as "3".'
)
IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    {"type": "string", "minLength": 1, "maxLength": 200, "pattern": "^[!-~]+$"},
    OpenApiParameter.HEADER,
    description="The same key with the same body within a day gets the same answer, and nothing is done twice.",
)


class Described(AutoSchema):
    """Describes an operation with all refusals that it may give."""

    def get_serializer_name(self, serializer: Any, direction: Any) -> str:
        """A shape is called what it is the shape of."""
        name: str = super().get_serializer_name(serializer, direction)
        return name.removesuffix("Shape")

    def _get_response_bodies(self, direction: Any = "response") -> dict[str, Any]:
        bodies = super()._get_response_bodies(direction)
        statuses = [*EVERYWHERE]
        if self.method not in LOOKS:
            statuses += WITH_BODY
            if any(parameter["name"] == "If-Match" for parameter in self._get_parameters()):
                statuses += ["412", "428"]
        for status in statuses:
            if status not in bodies:
                bodies[status] = self._get_response_for_code(ProblemShape, status, media_types=["application/json"])
        return dict(sorted(bodies.items()))


def strict_bodies(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """What the entries refuse is refused by the description too: names that are none of a record."""
    from registry.api.shapes import EntryShape

    for component in generator.registry._components.values():
        shape = component.object if isinstance(component.object, type) else type(component.object)
        if isinstance(shape, type) and issubclass(shape, EntryShape) and component.type == "schemas":
            schema = result["components"]["schemas"].get(component.name)
            if schema is not None:
                schema["additionalProperties"] = False
    return result

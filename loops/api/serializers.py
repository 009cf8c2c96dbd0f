"""The shapes that the API documents. They describe; the readers of text are loops.entries and loops.casefile."""

from rest_framework import serializers

from loops.entries import LoopEntry
from loops.models import LoopState, LoopVerdict
from registry.api.shapes import shape_of

VERDICTS = [str(value) for value in LoopVerdict.values]
CHECK_VERDICTS = ["pass", "fail", "incomplete", "confirm", "not_applicable", "beyond_simple_rules"]


class CaseShape(serializers.Serializer):
    """One intrinsically safe circuit as plain data."""

    case = serializers.CharField(required=False)
    basis = serializers.CharField(required=False, help_text="IEC or NEC")
    area = serializers.DictField(help_text="zone (or class and division), group, temperature_class, ambient_min, _max")
    safe_area_ambient_max = serializers.CharField(required=False)
    safe_area_voltage_max = serializers.CharField(required=False)
    sources = serializers.ListField(child=serializers.DictField())
    devices = serializers.ListField(child=serializers.DictField())
    cables = serializers.ListField(child=serializers.DictField(), required=False)
    interconnection = serializers.CharField(required=False, help_text="series, parallel or undefined")
    load_resistance = serializers.CharField(required=False)
    terminators = serializers.ListField(child=serializers.DictField(), required=False)
    fisco = serializers.BooleanField(required=False)
    two_wise = serializers.BooleanField(required=False)
    judge_on = serializers.DateField(required=False)


class CheckShape(serializers.Serializer):
    """One check of a result."""

    id = serializers.CharField()
    verdict = serializers.CharField(help_text=", ".join(CHECK_VERDICTS))
    subject = serializers.CharField()
    value = serializers.CharField(allow_blank=True, allow_null=True)
    limit = serializers.CharField(allow_blank=True, allow_null=True)
    relation = serializers.CharField(allow_blank=True, allow_null=True)
    margin = serializers.CharField(allow_blank=True, allow_null=True)
    reference = serializers.CharField()
    why = serializers.CharField()


class ResultShape(serializers.Serializer):
    """The verdict on one circuit."""

    case = serializers.CharField(allow_blank=True)
    verdict = serializers.CharField(help_text=", ".join(VERDICTS))
    checks = CheckShape(many=True)
    halved = serializers.BooleanField()
    totals = serializers.DictField()
    max_length = serializers.DictField(allow_null=True)
    function = serializers.DictField()
    system = serializers.DictField()
    confirmations = serializers.ListField(child=serializers.CharField())
    engine = serializers.CharField()


class LoopHeadShape(serializers.Serializer):
    """A loop in a list."""

    id = serializers.IntegerField()
    site = serializers.CharField()
    tag = serializers.CharField()
    service = serializers.CharField(allow_blank=True)
    state = serializers.CharField(help_text=", ".join(LoopState.values))
    letter = serializers.CharField()
    version = serializers.IntegerField()
    archived = serializers.BooleanField()
    owner = serializers.CharField()
    changed_at = serializers.DateTimeField()
    verification = serializers.IntegerField(allow_null=True, help_text="Key of the verification that holds now.")
    verdict = serializers.CharField(allow_null=True, help_text=", ".join(VERDICTS))
    function_verdict = serializers.CharField(allow_blank=True)
    limiting = serializers.CharField(allow_blank=True)
    least_margin = serializers.CharField(allow_null=True)


class LoopShape(LoopHeadShape):
    """One loop with its text, which may be sent back changed, and the results of its verdict."""

    record = shape_of(LoopEntry, "LoopText")()
    results = ResultShape(many=True)

"""The shapes that the API documents. They describe; the readers of text are loops.entries and loops.casefile."""

from rest_framework import serializers

from loops.models import LoopState, LoopVerdict

VERDICTS = [str(value) for value in LoopVerdict.values]
CHECK_VERDICTS = ["pass", "fail", "incomplete", "confirm", "not_applicable", "beyond_simple_rules"]
MISSING_BODY = "Quantities are texts with a unit, for example 83 nF; a missing value is unknown."


class ProblemShape(serializers.Serializer):
    """Every refusal."""

    code = serializers.CharField(help_text="A word for programs.")
    message = serializers.CharField(help_text="A sentence for people.")
    errors = serializers.DictField(  # type: ignore[assignment]
        child=serializers.ListField(child=serializers.CharField()), help_text="Messages by dotted path, sources.0.Uo."
    )


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
    relation = serializers.CharField(allow_blank=True)
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
    verdict = serializers.CharField(allow_null=True, help_text=", ".join(VERDICTS))
    function_verdict = serializers.CharField(allow_blank=True)
    limiting = serializers.CharField(allow_blank=True)
    least_margin = serializers.CharField(allow_null=True)


class LoopPageShape(serializers.Serializer):
    """One page of a list of loops."""

    count = serializers.IntegerField()
    page = serializers.IntegerField()
    pages = serializers.IntegerField()
    results = LoopHeadShape(many=True)


class CircuitTextShape(serializers.Serializer):
    """One circuit of a loop as text."""

    id = serializers.IntegerField(required=False)
    name = serializers.CharField()
    interconnection = serializers.CharField(required=False)
    fisco = serializers.BooleanField(required=False)
    two_wise = serializers.BooleanField(required=False)
    no_cable = serializers.BooleanField(
        required=False,
        help_text="True: the items stand together, without any cable.",
    )
    members = serializers.ListField(
        child=serializers.DictField(), help_text="role (source, device, inline), tag, terminals, area, made_on"
    )
    cables = serializers.ListField(
        child=serializers.DictField(),
        help_text="tag, from_point, to_point, cable_type, length_m (text with unit), separation, role",
    )
    terminators = serializers.ListField(
        child=serializers.DictField(),
        required=False,
        help_text="of a fieldbus circuit: tag (place), resistance_ohm, capacitance_f (text with unit)",
    )


class LoopTextShape(serializers.Serializer):
    """A loop as the text that its form shows; other records by the names that people pick, or by their key."""

    reason = serializers.CharField(required=False, write_only=True, help_text="Why it is changed; kept in the history.")
    site = serializers.CharField(help_text="Code of the site.")
    tag = serializers.CharField()
    service = serializers.CharField(required=False)
    drawing = serializers.CharField(required=False)
    load_ohm = serializers.CharField(required=False, help_text="Text with unit, for example 250 ohm.")
    safe_voltage_max_v = serializers.CharField(required=False, help_text="Text with unit, for example 250 V.")
    notes = serializers.CharField(required=False)
    circuits = CircuitTextShape(many=True)


class LoopShape(LoopHeadShape):
    """One loop with its text, which may be sent back changed, and the results of its verdict."""

    record = LoopTextShape()
    results = ResultShape(many=True)

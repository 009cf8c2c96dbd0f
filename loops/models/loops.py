"""A loop, its circuits, what is connected on each and by which cable."""

from django.conf import settings
from django.db import models

from registry.fields import QuantityField, TypedTextField
from registry.models import CableType, HazardousArea, Revision, Site, Terminals
from registry.models.base import Child, Record
from registry.quantities import Kind
from registry.words import lazily as _


class LoopState(models.TextChoices):
    DRAFT = "draft", _("Draft")
    IN_REVIEW = "in_review", _("In review")
    RETURNED = "returned", _("Returned")
    ISSUED = "issued", _("Issued")
    WITHDRAWN = "withdrawn", _("Withdrawn")


class Loop(Record):
    """One instrument loop of a site: one or more intrinsically safe circuits under one tag."""

    record_kind = "loop"
    revision_children = ("circuits",)

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="loops")
    tag = models.CharField(max_length=40, help_text=_("Loop tag, for example PT-1101."))
    service = models.CharField(max_length=160, blank=True, help_text=_("What the loop does in the plant."))
    drawing = models.CharField(_("loop drawing"), max_length=80, blank=True)
    load_ohm = QuantityField(Kind.RESISTANCE)
    load_ohm_text = TypedTextField()
    safe_voltage_max_v = QuantityField(Kind.VOLTAGE)
    safe_voltage_max_v_text = TypedTextField()
    notes = models.TextField(blank=True)

    state = models.CharField(max_length=10, choices=LoopState.choices, default=LoopState.DRAFT, editable=False)
    letter = models.CharField(max_length=4, default="A", editable=False)
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="owned_loops", editable=False
    )
    submitted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+", editable=False
    )
    submitted_at = models.DateTimeField(null=True, editable=False)
    verification = models.ForeignKey(
        "loops.Verification", on_delete=models.PROTECT, null=True, related_name="+", editable=False
    )

    class Meta:
        ordering = ["site__code", "tag"]
        constraints = [models.UniqueConstraint(fields=["site", "tag"], name="loop_tag_once_per_site")]

    def __str__(self) -> str:
        return self.tag


class Circuit(Child):
    """One intrinsically safe circuit: the sources, devices and cables that are connected with each other."""

    parent_field = "loop"
    revision_children = ("members", "cables", "terminators")

    class Interconnection(models.TextChoices):
        UNDEFINED = "undefined", _("Not defined: every arrangement is judged")
        SERIES = "series", _("In series")
        PARALLEL = "parallel", _("In parallel")

    loop = models.ForeignKey(Loop, on_delete=models.PROTECT, related_name="circuits")
    name = models.CharField(max_length=60, default="Circuit 1")
    interconnection = models.CharField(
        max_length=10, choices=Interconnection.choices, default=Interconnection.UNDEFINED
    )
    fisco = models.BooleanField(_("judge as a FISCO segment"), default=False)
    two_wise = models.BooleanField(_("judge as a 2-WISE circuit"), default=False)
    no_cable = models.BooleanField(
        _("no cable: the items stand together"),
        default=False,
        help_text=_("Tick it only where source and devices are connected without any cable."),
    )

    class Meta(Child.Meta):
        constraints = [models.UniqueConstraint(fields=["loop", "name"], name="circuit_name_once")]

    def __str__(self) -> str:
        return f"{self.loop}, {self.name}"


class Member(Child):
    """A set of terminals of a register item at a tag in an area, pinned to the revision that was judged."""

    parent_field = "circuit"
    snapshot_related = ("terminals__equipment", "area", "equipment_revision", "certificate_revision")

    class Role(models.TextChoices):
        SOURCE = "source", _("Source")
        DEVICE = "device", _("Field device")
        INLINE = "inline", _("Inline item")

    circuit = models.ForeignKey(Circuit, on_delete=models.CASCADE, related_name="members")
    role = models.CharField(max_length=6, choices=Role.choices)
    tag = models.CharField(max_length=40)
    terminals = models.ForeignKey(Terminals, on_delete=models.PROTECT, related_name="members")
    area = models.ForeignKey(
        HazardousArea,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="members",
        help_text="Empty: in the safe area.",
    )
    made_on = models.DateField(_("made on"), null=True, blank=True)
    equipment_revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+", editable=False)
    certificate_revision = models.ForeignKey(
        Revision, on_delete=models.PROTECT, null=True, related_name="+", editable=False
    )

    class Meta(Child.Meta):
        constraints = [models.UniqueConstraint(fields=["circuit", "tag"], name="member_tag_once_per_circuit")]
        # In how many loops an item is stands beside it in every list: counted from the index alone.
        indexes = [models.Index(fields=["terminals", "circuit"], name="member_uses")]

    def __str__(self) -> str:
        return f"{self.tag} ({self.terminals})"


class CableRun(Child):
    """One run of cable between two points of a circuit."""

    parent_field = "circuit"
    snapshot_related = ("cable_type", "cable_type_revision")

    class Separation(models.TextChoices):
        SINGLE = "single_circuit", _("One circuit in the cable")
        A = "A", _("Type A: each circuit screened")
        B = "B", _("Type B: fixed, protected, up to 60 V")
        C = "C", _("Type C: neither A nor B")
        MIXED = "mixed", _("Shared with circuits that are not intrinsically safe")

    class Role(models.TextChoices):
        TRUNK = "trunk", _("Trunk")
        SPUR = "spur", _("Spur")

    circuit = models.ForeignKey(Circuit, on_delete=models.CASCADE, related_name="cables")
    tag = models.CharField(max_length=40)
    from_point = models.CharField("from", max_length=60, blank=True)
    to_point = models.CharField("to", max_length=60, blank=True)
    cable_type = models.ForeignKey(
        CableType,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="runs",
        help_text="Empty: the default values for unknown cable apply.",
    )
    length_m = QuantityField(Kind.LENGTH)
    length_m_text = TypedTextField()
    separation = models.CharField(
        _("circuits in the cable"), max_length=14, choices=Separation.choices, default=Separation.SINGLE
    )
    role = models.CharField(max_length=5, choices=Role.choices, default=Role.TRUNK)
    cable_type_revision = models.ForeignKey(
        Revision, on_delete=models.PROTECT, null=True, related_name="+", editable=False
    )

    class Meta(Child.Meta):
        constraints = [models.UniqueConstraint(fields=["circuit", "tag"], name="cable_tag_once_per_circuit")]

    def __str__(self) -> str:
        return self.tag


class Terminator(Child):
    """A terminator at an end of a fieldbus trunk."""

    parent_field = "circuit"

    circuit = models.ForeignKey(Circuit, on_delete=models.CASCADE, related_name="terminators")
    tag = models.CharField(
        "place", max_length=40, help_text=_("Where it stands, for example in the last junction box.")
    )
    resistance_ohm = QuantityField(Kind.RESISTANCE)
    resistance_ohm_text = TypedTextField()
    capacitance_f = QuantityField(Kind.CAPACITANCE)
    capacitance_f_text = TypedTextField()

    class Meta(Child.Meta):
        constraints = [models.UniqueConstraint(fields=["circuit", "tag"], name="terminator_place_once_per_circuit")]

    def __str__(self) -> str:
        return self.tag

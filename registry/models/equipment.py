"""Certified sources, field devices, simple apparatus and inline items, with the parameters of their terminals."""

from django.db import models
from django.db.models import Q

from registry.fields import QuantityField, TypedTextField
from registry.models.base import Child, Record, listed
from registry.models.certificates import Certificate
from registry.quantities import Kind
from registry.words import lazily as _


class EquipmentKind(models.TextChoices):
    SOURCE = "source", _("Source (associated apparatus)")
    FIELD_DEVICE = "field_device", _("Field device")
    SIMPLE_APPARATUS = "simple_apparatus", _("Simple apparatus")
    INLINE = "inline", _("Inline item")


class Level(models.TextChoices):
    IA = "ia", "ia"
    IB = "ib", "ib"
    IC = "ic", "ic"


GROUPS = ("IIC", "IIB", "IIA", "I", "IIIC", "IIIB", "IIIA", "A", "B", "C", "D", "E", "F", "G")
GAS_GROUPS = ("IIC", "IIB", "IIA", "I", "A", "B", "C", "D")
EPLS = {"gas_epl": ("Ga", "Gb", "Gc", "Ma", "Mb"), "dust_epl": ("Da", "Db", "Dc")}
"""Equipment protection levels (IEC 60079-0:2017): gas and mines, dust; the letter ``a`` is the highest."""
DUST_GROUPS = ("IIIC", "IIIB", "IIIA", "E", "F", "G")


class Equipment(Record):
    """A type of certified (or simple) equipment by one maker."""

    record_kind = "equipment"
    revision_children = ("terminals",)

    kind = models.CharField(max_length=20, choices=EquipmentKind.choices)
    maker = models.CharField(max_length=80)
    type_name = models.CharField("type", max_length=80, help_text=_("Type designation as on the nameplate."))
    description = models.CharField(max_length=200, blank=True)
    function = models.CharField(
        max_length=80, blank=True, help_text=_("What it does in the loop, for example analogue input 4–20 mA, HART.")
    )
    marking = models.CharField(_("Ex marking"), max_length=120, blank=True)
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["maker", "type_name"]
        constraints = [models.UniqueConstraint(fields=["maker", "type_name"], name="equipment_type_once")]
        indexes = [
            listed("maker", "type_name", name="equipment_by_maker"),
            listed("type_name", "maker", name="equipment_by_type"),
            listed("kind", "maker", "type_name", name="equipment_by_kind"),
            listed("function", "maker", name="equipment_by_function"),
            listed("changed_at", name="equipment_by_change"),
            models.Index(fields=["kind"], condition=Q(archived_at=None), name="equipment_kind"),
        ]

    def __str__(self) -> str:
        return f"{self.maker} {self.type_name}"


class Terminals(Child):
    """One set of entity parameters for one set of terminals, under one certificate issue.

    A set that gives energy to a circuit (`gives`) carries output parameters; one that takes it carries input
    parameters. A head transmitter has both: one set towards its supply, one towards its sensor.
    """

    parent_field = "equipment"
    revision_children = ("permitted", "temperature_classes")
    snapshot_related = ("certificate",)

    class Side(models.TextChoices):
        SOURCE = "source", _("Gives energy (source)")
        DEVICE = "device", _("Takes energy (device)")

    class Output(models.TextChoices):
        LINEAR = "linear", _("Linear (resistive)")
        TRAPEZOIDAL = "trapezoidal", _("Trapezoidal")
        RECTANGULAR = "rectangular", _("Rectangular (electronic)")

    class Isolation(models.TextChoices):
        UNKNOWN = "", _("Unknown")
        ISOLATED = "isolated", _("Isolated from earth (500 V)")
        EARTHED = "earthed", _("Connected to earth")

    class NeedsKind(models.TextChoices):
        TWO_WIRE = "two_wire", _("Two-wire device, 4–20 mA")
        PROXIMITY_SENSOR = "proximity_sensor", _("Proximity sensor (IEC 60947-5-6)")
        SOLENOID = "solenoid", _("Solenoid")

    NEEDS = {
        NeedsKind.TWO_WIRE: ("needs_v", "needs_at_4ma_v", "needs_max_a", "hart"),
        NeedsKind.SOLENOID: ("pull_in_a", "coil_ohm", "coil_max_degc"),
    }
    """The columns of what a device needs that belong to one way of working alone."""

    class SimpleKind(models.TextChoices):
        PASSIVE = "passive", _("Passive")
        STORED = "stored energy", _("Stores energy")
        GENERATING = "generating", _("Generates energy")

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="terminals")
    certificate = models.ForeignKey(
        Certificate, on_delete=models.PROTECT, null=True, blank=True, related_name="terminals"
    )
    name = models.CharField("terminals", max_length=60, help_text=_("As marked, for example 1-2 or channel 1."))
    side = models.CharField(max_length=6, choices=Side.choices)
    level = models.CharField(_("level of protection"), max_length=2, choices=Level.choices, blank=True)
    gas_group = models.CharField(max_length=4, blank=True, choices=[(name, name) for name in GAS_GROUPS])
    dust_group = models.CharField(max_length=4, blank=True, choices=[(name, name) for name in DUST_GROUPS])
    gas_epl = models.CharField(
        _("EPL for gas"), max_length=2, blank=True, default="", choices=[(name, name) for name in EPLS["gas_epl"]]
    )
    dust_epl = models.CharField(
        _("EPL for dust"), max_length=2, blank=True, default="", choices=[(name, name) for name in EPLS["dust_epl"]]
    )
    output = models.CharField(_("output characteristic"), max_length=12, choices=Output.choices, blank=True)
    isolation = models.CharField(max_length=8, choices=Isolation.choices, blank=True, default="")
    ambient_min_degc = QuantityField(Kind.TEMPERATURE)
    ambient_min_degc_text = TypedTextField()
    ambient_max_degc = QuantityField(Kind.TEMPERATURE)
    ambient_max_degc_text = TypedTextField()

    uo_v = QuantityField(Kind.VOLTAGE)
    uo_v_text = TypedTextField()
    io_a = QuantityField(Kind.CURRENT)
    io_a_text = TypedTextField()
    po_w = QuantityField(Kind.POWER)
    po_w_text = TypedTextField()
    uq_v = QuantityField(Kind.VOLTAGE)
    uq_v_text = TypedTextField()
    ro_ohm = QuantityField(Kind.RESISTANCE)
    ro_ohm_text = TypedTextField()
    um_v = QuantityField(Kind.VOLTAGE)
    um_v_text = TypedTextField()
    supply_v = QuantityField(Kind.VOLTAGE)
    supply_v_text = TypedTextField()
    supply_at_20ma_v = QuantityField(Kind.VOLTAGE)
    supply_at_20ma_v_text = TypedTextField()
    supply_ohm = QuantityField(Kind.RESISTANCE)
    supply_ohm_text = TypedTextField()
    supply_hart_ohm = QuantityField(Kind.RESISTANCE)
    supply_hart_ohm_text = TypedTextField()

    ui_v = QuantityField(Kind.VOLTAGE)
    ui_v_text = TypedTextField()
    ii_a = QuantityField(Kind.CURRENT)
    ii_a_text = TypedTextField()
    pi_w = QuantityField(Kind.POWER)
    pi_w_text = TypedTextField()
    ci_f = QuantityField(Kind.CAPACITANCE)
    ci_f_text = TypedTextField()
    li_h = QuantityField(Kind.INDUCTANCE)
    li_h_text = TypedTextField()
    needs_kind = models.CharField(_("works as"), max_length=16, choices=NeedsKind.choices, blank=True, default="")
    hart = models.BooleanField("HART", default=False)
    needs_v = QuantityField(Kind.VOLTAGE)
    needs_v_text = TypedTextField()
    needs_at_4ma_v = QuantityField(Kind.VOLTAGE)
    needs_at_4ma_v_text = TypedTextField()
    needs_max_a = QuantityField(Kind.CURRENT)
    needs_max_a_text = TypedTextField()
    pull_in_a = QuantityField(Kind.CURRENT)
    pull_in_a_text = TypedTextField()
    coil_ohm = QuantityField(Kind.RESISTANCE)
    coil_ohm_text = TypedTextField()
    coil_max_degc = QuantityField(Kind.TEMPERATURE)
    coil_max_degc_text = TypedTextField()
    series_ohm = QuantityField(Kind.RESISTANCE)
    series_ohm_text = TypedTextField()
    drop_v = QuantityField(Kind.VOLTAGE)
    drop_v_text = TypedTextField()

    simple_kind = models.CharField(max_length=14, choices=SimpleKind.choices, blank=True)
    simple_v = QuantityField(Kind.VOLTAGE)
    simple_v_text = TypedTextField()
    simple_a = QuantityField(Kind.CURRENT)
    simple_a_text = TypedTextField()
    simple_w = QuantityField(Kind.POWER)
    simple_w_text = TypedTextField()
    surface_m2 = QuantityField(Kind.AREA)
    surface_m2_text = TypedTextField()
    thermal_k_per_w = QuantityField(Kind.THERMAL_RESISTANCE)
    thermal_k_per_w_text = TypedTextField()
    justification = models.TextField(_("why it is simple apparatus"), blank=True)
    unconfirmed = models.BooleanField(
        _("not yet compared with the certificate"),
        default=False,
        help_text=_("The values count as unknown until somebody has compared them with the certificate."),
    )

    class Meta(Child.Meta):
        constraints = [models.UniqueConstraint(fields=["equipment", "name"], name="terminals_name_once")]
        indexes = [
            models.Index(fields=["id", "equipment"], name="terminals_of_equipment"),
            *(
                models.Index(
                    fields=[column, "side", "equipment", "id"],
                    condition=Q(**{f"{column}__isnull": False}),
                    name=f"terminals_{column}",
                )
                for column in ("uo_v", "io_a", "po_w", "ui_v", "ii_a", "pi_w", "ci_f", "li_h")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.equipment}, {self.name}"


class PermittedRow(Child):
    """Co, Lo and Lo/Ro that a source permits for one group; `together` where Co and Lo hold at the same time."""

    parent_field = "terminals"

    terminals = models.ForeignKey(Terminals, on_delete=models.CASCADE, related_name="permitted")
    group = models.CharField(max_length=4, choices=[(name, name) for name in GROUPS])
    co_f = QuantityField(Kind.CAPACITANCE)
    co_f_text = TypedTextField()
    lo_h = QuantityField(Kind.INDUCTANCE)
    lo_h_text = TypedTextField()
    lo_ro_h_per_ohm = QuantityField(Kind.INDUCTANCE_PER_RESISTANCE)
    lo_ro_h_per_ohm_text = TypedTextField()
    together = models.BooleanField(default=False)

    class Meta(Child.Meta):
        indexes = [
            models.Index(
                fields=["group", column, "terminals"],
                condition=Q(**{f"{column}__isnull": False}),
                name=f"permitted_{column}",
            )
            for column in ("co_f", "lo_h")
        ]

    def __str__(self) -> str:
        return f"{self.group}: Co {self.co_f_text or '?'}, Lo {self.lo_h_text or '?'}"


class TemperatureRow(Child):
    """The temperature class that a device has up to one ambient temperature, and up to a power and current if given."""

    parent_field = "terminals"

    terminals = models.ForeignKey(Terminals, on_delete=models.CASCADE, related_name="temperature_classes")
    temperature_class = models.CharField("class", max_length=12)
    ambient_max_degc = QuantityField(Kind.TEMPERATURE)
    ambient_max_degc_text = TypedTextField()
    pi_w = QuantityField(Kind.POWER)
    pi_w_text = TypedTextField()
    ii_a = QuantityField(Kind.CURRENT)
    ii_a_text = TypedTextField()

    def __str__(self) -> str:
        return f"{self.temperature_class} up to {self.ambient_max_degc_text}"

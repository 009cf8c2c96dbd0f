"""Cable types with their values per length."""

from django.db import models

from registry.fields import QuantityField, TypedTextField
from registry.models.base import Record
from registry.quantities import Kind
from registry.words import lazily as _


class CableType(Record):
    """A type of cable: electrical values per length and construction, as its data sheet says."""

    record_kind = "cable_type"

    class CountedAs(models.TextChoices):
        LOOP = "loop", _("both cores (loop)")
        PER_CORE = "per_core", _("one core (counts twice)")

    CONDUCTORS = tuple(
        (name, name)
        for name in (
            *(f"{size} mm2" for size in ("0.5", "0.75", "1.0", "1.5", "2.5", "4")),
            *(f"{size} AWG" for size in (14, 16, 18, 20, 22, 24)),
        )
    )

    class Screen(models.TextChoices):
        NONE = "", _("no screen, or C given for the pair")
        ISOLATED = "isolated", _("isolated from the cores")
        ON_ONE_CORE = "on one core", _("connected to one core")

    name = models.CharField(max_length=80, unique=True)
    maker = models.CharField(max_length=80, blank=True)
    description = models.CharField(max_length=200, blank=True)
    capacitance_f_per_m = QuantityField(Kind.CAPACITANCE_PER_LENGTH)
    capacitance_f_per_m_text = TypedTextField()
    core_core_f_per_m = QuantityField(Kind.CAPACITANCE_PER_LENGTH)
    core_core_f_per_m_text = TypedTextField()
    core_screen_f_per_m = QuantityField(Kind.CAPACITANCE_PER_LENGTH)
    core_screen_f_per_m_text = TypedTextField()
    screen = models.CharField(max_length=12, choices=Screen.choices, blank=True, default="")
    inductance_h_per_m = QuantityField(Kind.INDUCTANCE_PER_LENGTH)
    inductance_h_per_m_text = TypedTextField()
    inductance_is = models.CharField(max_length=8, choices=CountedAs.choices, default=CountedAs.LOOP)
    inductance_per_resistance_h_per_ohm = QuantityField(Kind.INDUCTANCE_PER_RESISTANCE)
    inductance_per_resistance_h_per_ohm_text = TypedTextField()
    resistance_ohm_per_m = QuantityField(Kind.RESISTANCE_PER_LENGTH)
    resistance_ohm_per_m_text = TypedTextField()
    resistance_is = models.CharField(max_length=8, choices=CountedAs.choices, default=CountedAs.LOOP)
    conductor = models.CharField(max_length=8, choices=CONDUCTORS, blank=True, default="")
    strand_m = QuantityField(Kind.LENGTH)
    strand_m_text = TypedTextField()
    insulation_m = QuantityField(Kind.LENGTH)
    insulation_m_text = TypedTextField()
    test_v = QuantityField(Kind.VOLTAGE)
    test_v_text = TypedTextField()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

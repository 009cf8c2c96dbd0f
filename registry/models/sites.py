"""Sites and their hazardous areas."""

from django.db import models
from django.utils.translation import gettext as _

from registry.fields import QuantityField, TypedTextField
from registry.lengths import LengthUnit
from registry.models.base import Record
from registry.quantities import Kind
from registry.words import lazily


class Basis(models.TextChoices):
    """The body of rules a site is judged by."""

    IEC = "IEC", "IEC 60079-11 / -14 / -25"
    NEC = "NEC", lazily("NEC 504, ISA-RP12.06.01")


USUAL_MONTHS = 36
"""Months between inspections where a site says nothing else: common practice, no source."""


class Site(Record):
    """A plant with its own people, areas and loops."""

    record_kind = "site"

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    basis = models.CharField(max_length=3, choices=Basis.choices, default=Basis.IEC)
    time_zone = models.CharField(max_length=60, default="UTC")
    schemes = models.CharField(
        lazily("certificate schemes accepted"),
        max_length=120,
        default="ATEX, IECEx",
        help_text=lazily("Separated by commas."),
    )
    length_unit = models.CharField(
        "lengths shown in",
        max_length=2,
        choices=LengthUnit.choices,
        default=LengthUnit.METRE,
        help_text="What somebody typed keeps its unit; this one stands beside it. Everything is computed in metres.",
    )
    live_pages = models.BooleanField(
        lazily("state of issued sheets shown without log-in"),
        default=False,
        help_text=lazily("Whoever opens the code on a sheet sees whether it is current, superseded or withdrawn."),
    )
    second_factor = models.BooleanField(
        lazily("second factor required to log in"),
        default=False,
        help_text=lazily("Whoever has a role here sets up an authenticator app or a passkey before anything else."),
    )
    safe_ambient_max_degc = QuantityField(Kind.TEMPERATURE)
    safe_ambient_max_degc_text = TypedTextField()
    safe_voltage_max_v = QuantityField(Kind.VOLTAGE)
    safe_voltage_max_v_text = TypedTextField()

    visual_months = models.PositiveSmallIntegerField(lazily("months between visual inspections"), default=USUAL_MONTHS)
    close_months = models.PositiveSmallIntegerField(lazily("months between close inspections"), default=USUAL_MONTHS)
    detailed_months = models.PositiveSmallIntegerField(
        lazily("months between detailed inspections"), default=USUAL_MONTHS
    )

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} – {self.name}"

    @property
    def accepted_schemes(self) -> list[str]:
        return [name.strip() for name in self.schemes.split(",") if name.strip()]


class HazardousArea(Record):
    """A place at a site where an explosive atmosphere may be, as the area classification drawing says."""

    record_kind = "area"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="areas")
    name = models.CharField(max_length=120)
    zone = models.CharField(
        max_length=2,
        blank=True,
        choices=[(zone, f"Zone {zone}") for zone in ("0", "1", "2", "20", "21", "22")],
        help_text=lazily("Zone of the area; leave empty where the area is classified by class and division."),
    )
    nec_class = models.CharField(
        "class", max_length=3, blank=True, choices=[(name, f"Class {name}") for name in ("I", "II", "III")]
    )
    division = models.CharField(max_length=1, blank=True, choices=[(name, f"Division {name}") for name in ("1", "2")])
    group = models.CharField(
        max_length=4,
        choices=[
            (name, name)
            for name in ("IIC", "IIB", "IIA", "I", "IIIC", "IIIB", "IIIA", "A", "B", "C", "D", "E", "F", "G")
        ],
    )
    temperature_class = models.CharField(
        max_length=12,
        help_text=lazily("T1 … T6; for dust the highest permitted surface temperature, for example 135 degC."),
    )
    ambient_min_degc = QuantityField(Kind.TEMPERATURE)
    ambient_min_degc_text = TypedTextField()
    ambient_max_degc = QuantityField(Kind.TEMPERATURE)
    ambient_max_degc_text = TypedTextField()
    drawing = models.CharField(lazily("area classification drawing"), max_length=80, blank=True)

    class Meta:
        ordering = ["site__code", "name"]
        constraints = [models.UniqueConstraint(fields=["site", "name"], name="area_name_once_per_site")]

    def __str__(self) -> str:
        return f"{self.name} ({self.classification})"

    @property
    def is_dust(self) -> bool:
        return self.zone in {"20", "21", "22"} or self.nec_class in {"II", "III"}

    @property
    def classification(self) -> str:
        """Zone or class and division, group, temperature class."""
        place = (
            f"Zone {self.zone}"
            if self.zone
            else (
                _("Class %(nec_class)s, Division %(division)s")
                % {"nec_class": self.nec_class, "division": self.division}
            )
        )
        return f"{place}, {self.group}, {self.temperature_class}"

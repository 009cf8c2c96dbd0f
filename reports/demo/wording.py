"""Short words for the text of register items, as a keeper would type it from a certificate."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from registry.marked import said
from registry.marking import MarkingError, parse_markings

Text = dict[str, Any]


def values(names: str, text: str) -> Text:
    """Pair names with the comma-separated values of a line: `values("uo_v io_a", "28 V, 93 mA")`."""
    parts = [part.strip() for part in text.split(",")] if text else []
    return dict(zip(names.split(), parts, strict=False))


def permitted(rows: dict[str, str], together: bool = False) -> list[Text]:
    """Rows of permitted values: group to "Co, Lo, Lo/Ro"."""
    return [
        {"group": group, "together": together} | values("co_f lo_h lo_ro_h_per_ohm", text)
        for group, text in rows.items()
    ]


def gives(
    name: str,
    certificate: str,
    output: str,
    rows: dict[str, str],
    supply: str = "",
    *,
    level: str = "ia",
    shape: str = "linear",
    isolation: str = "isolated",
    um: str = "253 V",
    ambient: tuple[str, str] = ("-20 degC", "60 degC"),
    group: str = "IIC",
    issue: str = "0",
    together: bool = False,
) -> Text:
    """Terminals that give energy: `output` is "Uo, Io, Po, Ro", `supply` "voltage, at 20 mA, end-to-end, to HART"."""
    return (
        {
            "name": name,
            "side": "source",
            "certificate": (certificate, issue),
            "level": level,
            "gas_group": group,
            "output": shape,
            "isolation": isolation,
            "um_v": um,
            "ambient_min_degc": ambient[0],
            "ambient_max_degc": ambient[1],
            "permitted": permitted(rows, together),
        }
        | values("uo_v io_a po_w ro_ohm", output)
        | values("supply_v supply_at_20ma_v supply_ohm supply_hart_ohm", supply)
    )


def takes(
    name: str,
    certificate: str,
    inputs: str,
    classes: dict[str, str],
    needs: str = "",
    *,
    level: str = "ia",
    group: str = "IIC",
    dust: str = "",
    isolation: str = "isolated",
    coldest: str = "-40 degC",
    series: str = "",
    issue: str = "0",
    **works: str,
) -> Text:
    """Terminals that take energy: `inputs` is "Ui, Ii, Pi, Ci, Li", `needs` "volts, at 4 mA, highest current".

    `works` names further columns of what the device needs: `hart`, `needs_kind`, the figures of a solenoid.
    """
    return (
        {
            "name": name,
            "side": "device",
            "certificate": (certificate, issue) if certificate else "",
            "level": level,
            "gas_group": group,
            "dust_group": dust,
            "isolation": isolation,
            "ambient_min_degc": coldest,
            "ambient_max_degc": list(classes.values())[-1] if classes else "",
            "series_ohm": series,
            "temperature_classes": [
                {"temperature_class": name, "ambient_max_degc": ambient} for name, ambient in classes.items()
            ],
        }
        | values("ui_v ii_a pi_w ci_f li_h", inputs)
        | values("needs_v needs_at_4ma_v needs_max_a", needs)
        | works
    )


def solenoid(pull_in: str, coil: str, hottest: str) -> dict[str, str]:
    """What a solenoid needs to pull in: its current, its resistance at 20 degC, its highest temperature."""
    return {"needs_kind": "solenoid", "pull_in_a": pull_in, "coil_ohm": coil, "coil_max_degc": hottest}


def simple(
    name: str,
    kind: str,
    justification: str,
    figures: str = "",
    classes: dict[str, str] | None = None,
    *,
    isolation: str = "isolated",
    stored: str = "0 F, 0 H",
    limits: str = "",
) -> Text:
    """Terminals of simple apparatus: `figures` is "V, A, W, mm2, K/W", `stored` "C, L", `limits` "Ui, Ii, Pi"."""
    text = takes(name, "", limits, classes or {}, level="", group="", isolation=isolation)
    figures_text = values("simple_v simple_a simple_w surface_m2 thermal_k_per_w", figures)
    return text | {"simple_kind": kind, "justification": justification} | values("ci_f li_h", stored) | figures_text


def item(
    kind: str,
    maker: str,
    type_name: str,
    description: str,
    function: str,
    marking: str,
    *terminals: Text,
    notes: str = "",
) -> Text:
    """An item of the register with its sets of terminals."""
    return {
        "kind": kind,
        "maker": maker,
        "type_name": type_name,
        "description": description,
        "function": function,
        "marking": marking,
        "notes": notes,
        "terminals": [stated_epl(marking, row["side"] == "source") | row for row in terminals],
    }


def stated_epl(marking: str, gives: bool) -> Text:
    """The EPL that a marking states for one side; nothing where it states none."""
    with suppress(MarkingError):
        return {name: text for name, text in said(parse_markings(marking), gives) if name.endswith("_epl")}
    return {}

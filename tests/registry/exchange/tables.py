"""Rows of tables that the tests of imports share; makers and certificates are invented."""

from __future__ import annotations

from registry.exchange.csv_xlsx import table, write_csv
from registry.services.imports import Report

CERTIFICATE = "EXA 21 ATEX 0101 issue 0"
SOURCE_ROW = {
    "kind": "source",
    "maker": "Northlight Barriers",
    "type": "NB-28",
    "terminals": "1-2",
    "side": "source",
    "certificate": CERTIFICATE,
    "level of protection": "ia",
    "gas group": "IIC",
    "output characteristic": "linear",
    "Ta min": "-20 degC",
    "Ta max": "60 degC",
    "Uo": "28 V",
    "Io": "93 mA",
    "Po": "not stated",
    "permitted 1 group": "IIC",
    "permitted 1 Co": "83 nF",
    "permitted 1 Lo": "4.2 mH",
    "permitted 2 group": "IIB",
    "permitted 2 Co": "650 nF",
    "permitted 2 together": "yes",
}
DEVICE_ROW = {
    "kind": "field_device",
    "maker": "Sandpiper Instruments",
    "type": "SP-100",
    "terminals": "+/-",
    "side": "device",
    "certificate": CERTIFICATE,
    "level of protection": "ia",
    "gas group": "IIC",
    "Ui": "30 V",
    "Ii": "100 mA",
    "Pi": "1 W",
    "Ci": "5 nF",
    "Li": "0 H",
    "temperature class 1": "T4",
    "temperature class 1 Ta max": "70 degC",
}


def filed(rows: list[dict[str, str]], headings: list[str] | None = None) -> bytes:
    """A CSV file with the rows; its headings are all that occur, in their first order."""
    names = headings or list(dict.fromkeys(name for row in rows for name in row))
    return write_csv(table(names, [[row.get(name, "") for name in names] for row in rows]))


def found(report: Report) -> list[tuple[int, str, str]]:
    """Row, column and message of each fault."""
    return [(fault.row, fault.column, fault.message) for fault in report.faults]


def counts(report: Report) -> tuple[int, int, int, bool]:
    """Added, changed, unchanged, and whether it was saved."""
    return report.added, report.changed, report.unchanged, report.saved

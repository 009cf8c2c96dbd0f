"""The ignition curves of a circuit as SVG: what the tables permit against voltage, and where the circuit works.

Left table A.1 (current), right table A.2 (capacitance), both for the group of the area, on logarithmic axes: the region
below a curve is permitted. The curves hold for linear sources; of a certified source the certificate governs, and the
picture shows how near to the curve it works. White paper in every theme, so that lines keep their contrast.
"""

from __future__ import annotations

import io
import math
import textwrap
import warnings
from decimal import Decimal

import matplotlib as mpl
from django.utils.translation import gettext as _
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.text import Annotation
from matplotlib.ticker import FixedLocator, FuncFormatter, LogLocator, NullLocator

from loops.services.curves import Curves, Points
from registry.parameters import shown
from registry.quantities import Kind
from registry.stored import figure, said
from reports.diagrams.words import described_curves

SIZE_IN = (9.0, 3.7)
SHEET_SIZE_IN = (5.6, 2.05)
INK, PERMITTED, ACCENT, RULE = "#20262b", "#dfeae6", "#0e5a61", "#c9c4b6"
LONGEST_NAME = 62
LETTERS_PER_IN, NARROW = 13, 40
ROOM = 0.75
"""The share of its width that a narrow chart has for what stands below it: the rest is before its axis."""
BELOW_PT = -6
EDGE = 0.14
"""Nearer to the frame than this share of the height, a label stands on its inner side."""
TICKS_V = (3, 5, 7, 10, 15, 20, 30, 45, 70, 100, 150, 200, 300, 500)
FINEST_STEP = Decimal("0.02")  # smaller steps of a table cannot be seen
# Set once: a context of its own would be shared by all threads of a worker.
mpl.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "unlit", "font.family": "sans-serif", "font.size": 9.0})


def ignition_svg(curves: Curves, size_in: tuple[float, float] = SIZE_IN) -> bytes:
    """Both curves with the working point, as an SVG file; the same curves always give the same bytes."""
    chart = Figure(figsize=size_in, layout="constrained")
    left, right = chart.subplots(1, 2)
    _current(left, curves)
    _capacitance(right, curves)
    for axes in (left, right):
        _fit(axes, curves, round(LETTERS_PER_IN * size_in[0] / 2))
    FigureCanvasSVG(chart)
    file = io.BytesIO()
    with warnings.catch_warnings():
        # Letters that the measuring font lacks: the text stays text, and whoever shows it has fonts of its own.
        warnings.filterwarnings("ignore", "Glyph", UserWarning)
        chart.savefig(file, format="svg", metadata={"Date": None, "Title": described_curves(curves)})
    return file.getvalue()


def _current(axes: Axes, curves: Curves) -> None:
    points = _shown(curves.current)
    _curve(axes, curves, points, curves.current_a)
    axes.plot(float(curves.voltage_v), float(curves.current_a), "o", color=ACCENT, markersize=7)
    _note(axes, curves, float(curves.current_a), f"{_cut(curves.source)}\n{shown(curves.current_a, Kind.CURRENT)}")
    axes.set_ylabel(_("Short-circuit current"))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: _written(value, Kind.CURRENT)))
    axes.set_title(
        (_("Current: %(current_name)s") % {"current_name": _cut(said(curves.current_name))}), fontsize=8.5, loc="left"
    )


def _capacitance(axes: Axes, curves: Curves) -> None:
    points = _shown(curves.capacitance)
    _curve(axes, curves, points, *(value for value in (curves.connected_f, curves.permitted_f) if value))
    if curves.connected_f:
        axes.plot(float(curves.voltage_v), float(curves.connected_f), "o", color=ACCENT, markersize=7)
        told = _("connected %(CAPACITANCE)s") % {"CAPACITANCE": shown(_short(curves.connected_f), Kind.CAPACITANCE)}
        _note(axes, curves, float(curves.connected_f), told, BELOW_PT)
    if curves.permitted_f:
        axes.plot(float(curves.voltage_v), float(curves.permitted_f), "_", color=ACCENT, markersize=16, mew=2.5)
        told = _("permitted %(CAPACITANCE)s") % {"CAPACITANCE": shown(_short(curves.permitted_f), Kind.CAPACITANCE)}
        _note(axes, curves, float(curves.permitted_f), told, -BELOW_PT)
    axes.set_ylabel(_("Capacitance"))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: _written(value, Kind.CAPACITANCE)))
    axes.set_title(
        (_("Capacitance: %(capacitance_name)s") % {"capacitance_name": _cut(said(curves.capacitance_name))}),
        fontsize=8.5,
        loc="left",
    )


def _fit(axes: Axes, curves: Curves, letters: int) -> None:
    """Break what is written into lines that a narrow chart has room for, with fewer figures below it."""
    axes.set_title(textwrap.fill(axes.get_title(loc="left"), letters), fontsize=8.5, loc="left")
    if letters >= NARROW:
        axes.set_xlabel(textwrap.fill(axes.get_xlabel(), letters))
        return
    if axes.get_ylabel() == _("Short-circuit current"):
        axes.set_ylabel(_("Current"))  # a long word is longer than the axis
    operands = {"source": _cut(curves.source), "voltage": shown(curves.voltage_v, Kind.VOLTAGE)}
    axes.set_xlabel(textwrap.fill(_("Uo of %(source)s: %(voltage)s") % operands, round(letters * ROOM)))
    for text in axes.texts:
        if not isinstance(text, Annotation):
            text.set_visible(False)  # what is shaded is said below a narrow chart
    low, high = axes.get_xlim()
    axes.xaxis.set_major_locator(FixedLocator([tick for tick in TICKS_V if low <= tick <= high][::-2][::-1]))


def _shown(points: Points) -> tuple[list[float], list[float]]:
    """A curve without the steps that cannot be seen; a limit is never drawn above its own."""
    drawn = [points[0]]
    for voltage, limit in points[1:-1]:
        if limit < drawn[-1][1] * (1 - FINEST_STEP):
            drawn.append((voltage, limit))
    drawn.append(points[-1])
    return [float(voltage) for voltage, _ in drawn], [float(limit) for _, limit in drawn]


def _curve(axes: Axes, curves: Curves, points: tuple[list[float], list[float]], *marks: Decimal) -> None:
    """The limit as steps (between two rows the next higher voltage counts), with what it permits below it; the axes
    reach to what is marked in it."""
    voltages, limits = points
    axes.set_xscale("log")
    axes.set_yscale("log")
    reached = [*limits, *map(float, marks)]
    lowest = min(reached) / 3
    axes.fill_between(voltages, limits, lowest, step="pre", color=PERMITTED, linewidth=0)
    axes.step(voltages, limits, where="pre", color=INK, linewidth=1.4)
    least, most = min(voltages[0], float(curves.voltage_v)), max(voltages[-1], float(curves.voltage_v))
    axes.set_xlim(least / 1.1, most * 1.1)
    axes.set_ylim(lowest, max(reached) * 1.5)
    axes.axvline(float(curves.voltage_v), color=ACCENT, linewidth=0.8, linestyle=(0, (4, 3)))
    axes.set_xlabel(
        _("Voltage (Uo of %(source)s: %(VOLTAGE)s)")
        % {"source": _cut(curves.source), "VOLTAGE": shown(curves.voltage_v, Kind.VOLTAGE)}
    )
    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0), numticks=12))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: figure(f"{value:g} V")))
    axes.grid(visible=True, color=RULE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.text(
        0.03,
        0.05,
        _("permitted for %(group)s, safety factor %(factor)s")
        % {"group": curves.group, "factor": figure(str(curves.factor))},
        transform=axes.transAxes,
        fontsize=8,
        color=INK,
    )


def _note(axes: Axes, curves: Curves, value: float, told: str, lift_pt: int = 0) -> None:
    """A label on the side of the point that has room, lifted where another stands near."""
    low, high = axes.get_xlim()
    to_the_left = float(curves.voltage_v) > (low * high) ** 0.5
    bottom, top = axes.get_ylim()
    height = math.log(value / bottom) / math.log(top / bottom)
    if not EDGE < height < 1 - EDGE:
        lift_pt = 0
    axes.annotate(
        told,
        (float(curves.voltage_v), value),
        xytext=(-9 if to_the_left else 9, lift_pt),
        textcoords="offset points",
        ha="right" if to_the_left else "left",
        va="bottom" if height <= EDGE else "top" if height >= 1 - EDGE else "center",
        fontsize=8.5,
        color=ACCENT,
        fontweight="bold",
        bbox={"boxstyle": "square,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.8},
    )


def _short(value: Decimal) -> Decimal:
    """Three digits are enough beside a point; the figures that are judged stand in the checks."""
    return value.quantize(Decimal(1).scaleb(value.adjusted() - 2)) if value else value


def _written(value: float, kind: Kind) -> str:
    return shown(Decimal(f"{value:.3g}"), kind)


def _cut(name: str) -> str:
    """A name that fits above its chart; a dollar sign would begin mathematics in the drawing library."""
    name = name.replace("$", r"\$")
    return name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 1]}…"

"""Drawn block diagrams of circuits, for the page and the sheet alike."""

from reports.diagrams.drawing import describe, draw
from reports.diagrams.parts import Item, Plan, Run, plan_of_case, plan_of_circuit

__all__ = ["Item", "Plan", "Run", "describe", "draw", "plan_of_case", "plan_of_circuit"]

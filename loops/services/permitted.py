"""The table of permitted capacitance, for the register's warnings about certificates."""

from __future__ import annotations

from decimal import Decimal

from loops.engine.case import Group
from loops.engine.tables import Cell, TableKind, built_in


def permitted_capacitance(group: str, uo_v: Decimal, is_ic: bool) -> Decimal | None:
    """Co in F for a gas group at Uo in V, with the safety factor of the level: 1 for ic, else 1.5.

    None outside the table. IEC 60079-11:2011, table A.2, as it comes with the engine.

    >>> permitted_capacitance("IIC", Decimal(28), False)
    Decimal('8.3E-8')
    """
    found = built_in(TableKind.CAPACITANCE).look_up(Group(group), "x1" if is_ic else "x1.5", uo_v)
    return found.value if isinstance(found, Cell) else None

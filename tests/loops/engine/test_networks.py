"""Combined linear sources against a circuit simulator (ngspice): 200 random networks.

Each network is simulated open (voltage) and shorted (current). The engine's voltage and current must never be below the
simulated ones, must equal them for equal sources, and its matched power must be the simulated one.
"""

from __future__ import annotations

import random
import re
import shutil
import subprocess
from decimal import Decimal as D
from pathlib import Path

import pytest

from loops.engine.arithmetic import with_full_precision
from loops.engine.case import Interconnection
from loops.engine.sources import Arrangement, arrangements, matched_power

NETWORKS = 200
SPICE = shutil.which("ngspice")


def _networks() -> list[tuple[Interconnection, list[Arrangement]]]:
    chance = random.Random(60079)
    found = []
    for number in range(NETWORKS):
        how = Interconnection.SERIES if number % 2 else Interconnection.PARALLEL
        count = chance.randint(2, 4)
        values = [(D(chance.randint(20, 300)) / 10, D(chance.randint(50, 900))) for _ in range(count)]
        if number % 5 == 0:
            values = [values[0]] * count
        found.append((how, [Arrangement(u, with_full_precision(lambda u=u, r=r: u / r)(), r) for u, r in values]))
    return found


def _netlist(networks: list[tuple[Interconnection, list[Arrangement]]]) -> str:
    lines, shown = ["combined linear sources"], []
    for n, (how, parts) in enumerate(networks):
        for kind in ("o", "s"):
            end = f"{kind}{n}"
            node = "0"
            for k, part in enumerate(parts):
                start = node if how is Interconnection.SERIES else "0"
                top = f"{end}_{k}" if how is Interconnection.SERIES and k < len(parts) - 1 else end
                lines += [
                    f"V{end}_{k} {end}m{k} {start} {part.voltage_v}",
                    f"R{end}_{k} {end}m{k} {top} {part.resistance_ohm}",
                ]
                node = top
            lines.append(f"R{end}_open {end} 0 1e15" if kind == "o" else f"Vshort{n} {end} 0 0")
        shown += [f"print v(o{n})", f"print i(vshort{n})"]
    return "\n".join(
        [*lines, ".options gmin=1e-15 reltol=1e-9", ".control", "set numdgt=12", "op", *shown, ".endc", ".end", ""]
    )


@pytest.mark.skipif(SPICE is None, reason="ngspice is not installed (Debian package ngspice)")
def test_combined_sources_against_a_circuit_simulator(tmp_path: Path) -> None:
    networks = _networks()
    file = tmp_path / "networks.cir"
    file.write_text(_netlist(networks))
    assert SPICE is not None
    run = subprocess.run([SPICE, "-b", str(file)], capture_output=True, text=True, timeout=120, check=False)
    volts = {int(n): float(v) for n, v in re.findall(r"v\(o(\d+)\) = (\S+)", run.stdout)}
    amps = {int(n): float(v) for n, v in re.findall(r"i\(vshort(\d+)\) = (\S+)", run.stdout)}
    assert len(volts) == len(amps) == NETWORKS, run.stdout[-500:] + run.stderr[-500:]
    for n, (how, parts) in enumerate(networks):
        (judged,) = arrangements(parts, how)
        assert float(judged.voltage_v) >= volts[n] * (1 - 1e-7)
        assert float(judged.current_a) >= amps[n] * (1 - 1e-7)
        if how is Interconnection.SERIES:
            assert float(judged.voltage_v) == pytest.approx(volts[n], rel=1e-6)
        else:
            assert float(judged.current_a) == pytest.approx(amps[n], rel=1e-6)
        assert float(judged.resistance_ohm) == pytest.approx(volts[n] / amps[n], rel=1e-6)
        if len(set(parts)) == 1:
            assert float(judged.voltage_v) == pytest.approx(volts[n], rel=1e-6)
            assert float(judged.current_a) == pytest.approx(amps[n], rel=1e-6)
        assert float(matched_power(parts, how)) == pytest.approx(volts[n] * amps[n] / 4, rel=1e-6)
        total = sum(float(part.voltage_v * part.current_a) / 4 for part in parts)
        assert total >= volts[n] * amps[n] / 4 * (1 - 1e-7)  # the sum of the powers, which is used, is never less

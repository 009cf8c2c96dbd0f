"""How a loop of the demo is written down: what is connected, by which cable, and what happens to it afterwards."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum


class Story(Enum):
    """How far a loop gets in the workflow. The value names the steps, in order."""

    # An empty tuple would be no value in Python 3.11.2, which Debian 12 has.
    DRAFT = ""
    REVIEW = "submit"
    RETURNED = "submit return"
    ISSUED = "submit approve"
    REVISED = "submit approve reopen"

    @property
    def steps(self) -> tuple[str, ...]:
        return tuple(self.value.split())


@dataclass(frozen=True)
class Part:
    """A set of terminals on a circuit: `item` is "type: terminals", `area` a key of an area, empty in the safe area."""

    role: str
    tag: str
    item: str
    area: str = ""
    made_years_ago: int | None = None


@dataclass(frozen=True)
class Run:
    """One run of cable; without a type the default values for unknown cable apply."""

    cable: str
    length: str
    start: str = "IS cabinet"
    end: str = ""
    separation: str = "single_circuit"
    role: str = "trunk"


Length = tuple[str, str]


@dataclass(frozen=True)
class CircuitPlan:
    """One circuit."""

    parts: tuple[Part, ...]
    runs: tuple[Run, ...]
    name: str = "Circuit 1"
    interconnection: str = "undefined"
    fisco: bool = False
    two_wise: bool = False
    terminators: tuple[Length, ...] = ()


@dataclass(frozen=True)
class LoopPlan:
    """One loop with its notes and its story.

    `shows` names the mistake that the loop was made for and `expects` the check and its verdict that show it.
    """

    tag: str
    service: str
    circuits: tuple[CircuitPlan, ...]
    load: str = "0 ohm"
    owner: str = "designer"
    story: Story = Story.DRAFT
    drawing: str = ""
    safe_voltage: str = ""
    notes: str = ""
    shows: str = ""
    expects: tuple[str, str] | None = None
    complies: bool = True
    word: str = ""


def runs(*lengths: Length, end: str, box: str = "") -> tuple[Run, ...]:
    """One run to the device, or one to the junction box `box` and one from there."""
    if len(lengths) == 1:
        return (Run(*lengths[0], end=end),)
    trunk, branch = lengths
    return (Run(*trunk, end=box), Run(*branch, start=box, end=end))


def single(
    tag: str,
    service: str,
    source: str,
    device: str,
    area: str,
    *lengths: Length,
    extra: tuple[Part, ...] = (),
    made: int | None = None,
    sensor: tuple[str, str, Length] | None = None,
    **more: object,
) -> LoopPlan:
    """The usual loop: one source, one device of the same tag; with two lengths by way of a junction box.

    `sensor` chains a second circuit: "terminals towards the sensor", the sensor's item, and its cable.
    """
    box = f"JB-{tag.split('-')[1][:2]}1"
    parts = [Part("source", f"{tag}-IS", source, made_years_ago=made), Part("device", tag, device, area, made), *extra]
    if len(lengths) == 2:
        parts.append(Part("device", box, "JB-12 dust: 1-12" if area in DUST else "JB-12: 1-12", area))
    circuits = [CircuitPlan(tuple(parts), runs(*lengths, end=tag, box=box))]
    if sensor:
        terminals, item, length = sensor
        element = f"{tag.split('-')[0][0]}E-{tag.split('-')[1]}"
        circuits.append(
            CircuitPlan(
                (
                    Part("source", tag, f"{device.split(':')[0]}: {terminals}", area),
                    Part("device", element, item, area),
                ),
                (Run(*length, start=tag, end=element),),
                name="Sensor circuit",
            )
        )
    return replace(LoopPlan(tag, service, tuple(circuits)), **more)  # type: ignore[arg-type]


DUST = frozenset({"dryer", "bagging"})

"""How long a quantity takes to read, and how that compares with pint alone.

Run ``python -m tests.benchmarks.quantities_benchmark``. The cache of whole texts is emptied before every round, so that
what is measured is the reading. Prints microseconds a text and ratios; the target is under 1 ms for a random text.
"""

import contextlib
import random
import time
from collections.abc import Callable, Sequence
from decimal import Decimal

import pint

from registry import quantities
from registry.quantities import Kind, QuantityError
from registry.units import UNITS
from tests.registry.texts import random_texts

ROUNDS = 3


def right_texts(count: int, seed: int) -> list[tuple[str, Kind]]:
    """Distinct right texts over all kinds and units that pint can read too."""
    chance = random.Random(seed)
    units = [
        (kind, name)
        for kind in Kind
        if kind is not Kind.TEMPERATURE
        for name in UNITS[kind]
        if "/1" not in name and "deg" not in name
    ]
    texts = []
    for number in range(count):
        kind, name = chance.choice(units)
        texts.append((f"{number % 1000}.{chance.randrange(10**6):06} {name}", kind))
    return texts


def seconds_each(task: Callable[[], None], count: int) -> float:
    best = float("inf")
    for _ in range(ROUNDS):
        quantities._read.cache_clear()
        start = time.perf_counter()
        task()
        best = min(best, time.perf_counter() - start)
    return best / count


def read_all(texts: Sequence[tuple[str, Kind]]) -> None:
    for text, kind in texts:
        with contextlib.suppress(QuantityError):
            quantities.read(text, kind)


def main() -> None:
    right = right_texts(5000, seed=1)
    chance = random.Random(2)
    rubbish = [(text, chance.choice(tuple(Kind))) for text in random_texts(20_000, seed=3)]
    registry: pint.UnitRegistry[Decimal] = pint.UnitRegistry(non_int_type=Decimal)
    si = {kind: kind.value.replace("m2", "m**2") for kind in Kind}
    for_pint = [(text[:-1] + "**2" if kind is Kind.AREA else text, kind) for text, kind in right[:1000]]

    def pint_alone() -> None:
        for text, kind in for_pint:
            registry.Quantity(text).to(si[kind])

    def written() -> None:
        for value, kind in values:
            quantities.write(value, kind)

    values = [(quantities.read(text, kind), kind) for text, kind in right]
    reading = seconds_each(lambda: read_all(right), len(right))
    refusing = seconds_each(lambda: read_all(rubbish), len(rubbish))
    writing = seconds_each(written, len(values))
    alone = seconds_each(pint_alone, len(for_pint))
    slowest = max(seconds_each(lambda row=row: read_all([row]), 1) for row in rubbish[:5000])
    print(f"right text    {reading * 1e6:8.1f} us   {alone / reading:6.1f} times as fast as pint alone")
    print(f"random text   {refusing * 1e6:8.1f} us   {1e-3 / refusing:6.1f} times under the target of 1 ms")
    print(f"  slowest     {slowest * 1e6:8.1f} us")
    print(f"write         {writing * 1e6:8.1f} us")
    print(f"pint alone    {alone * 1e6:8.1f} us")


if __name__ == "__main__":
    main()

"""Asking in turn, and whether all answered alike."""

import statistics
import sys
from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime
from random import Random
from time import perf_counter
from typing import Any

from milk.withheld_milk import lots_with_withheld

# Sets of keys, or figures by key.
Answer = dict[str, Any]


def say(line: str = "") -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


class Times:
    """Wall times in ms of some contenders, by name."""

    def __init__(self) -> None:
        self.of: dict[str, list[float]] = {}

    def add(self, name: str, began: float) -> None:
        self.of.setdefault(name, []).append((perf_counter() - began) * 1000)

    def median(self, name: str) -> float:
        return statistics.median(self.of[name])

    def worst(self, name: str) -> float:
        """The 95th percentile."""
        found = sorted(self.of[name])
        return found[min(len(found) - 1, round(0.95 * (len(found) - 1)))]

    def ratio(self, one: str, other: str) -> float:
        return round(self.median(one) / self.median(other), 3)


def alternate(
    times: Times, items: Sequence[Any], contenders: dict[str, Callable[[Any], Any]]
) -> None:
    """Ask each contender about each item, in another order each time.

    In a fixed order each would always follow the same one, and find what that left in the caches.
    """
    names, dice = list(contenders), Random(1)
    for name in names:
        times.of[name] = []
        contenders[name](items[0])
    for item in items:
        for name in dice.sample(names, len(names)):
            began = perf_counter()
            contenders[name](item)
            times.add(name, began)


class Sweeper:
    """A peer asked about a span of moments."""

    def __init__(self, peer: Any) -> None:
        self.peer, self.name = peer, peer.name

    def sweep(self, span: tuple[datetime, datetime]) -> Answer:
        since, until = span
        found: Answer = self.peer.sweep(int(since.timestamp()), int(until.timestamp()))
        return found


def by_key(ask: Callable[[int], Any]) -> Callable[[Any], Any]:
    """A peer that is asked by the key of a thing."""
    return lambda thing: ask(thing.pk)


def answer_back(trace: Any) -> Answer:
    """A trace back as keys and figures."""
    inside = trace.found.inside
    return {
        "lots": {lot.row.pk for lot in trace.found.lots},
        "kg": inside.kg,
        "cells": {animal: inside.cells[animal] for animal in inside.kg if animal in inside.cells},
        "withheld": {
            (*pair, period.course)
            for pair, periods in inside.withheld.items()
            for period in periods
        },
        "feeds": {(feed.pk, bool(feed.hours_late)) for feed in trace.found.feeds},
    }


def answer_forward(trace: Any) -> Answer:
    return {
        "lots": {lot.row.pk for lot in trace.found.lots},
        "vats": {vat.pk for vat in trace.found.vats},
        "wheels": {wheel.pk for wheel, _ in trace.found.wheels},
    }


def answer_sweep(span: tuple[datetime, datetime]) -> Answer:
    """Withheld milk of the milkings of a span that went into a lot, as the nightly sweep has it."""
    return {
        "withheld": {(row.animal, row.milking, row.course) for row in lots_with_withheld(*span)}
    }


def check_same(name: str, item: Any, wanted: Answer, got: Answer) -> None:
    """Raise AssertionError naming what differs."""
    for part, own in wanted.items():
        other, mine = plain(got[part]), plain(own)
        if isinstance(own, dict):
            wrong = [key for key in mine.keys() | other.keys() if not near(mine, other, key)]
        else:
            wrong = sorted(mine ^ other)
        if wrong:
            here, there = ([one for one in wrong if one in found] for found in (mine, other))
            raise AssertionError(
                f"{name} of {item}: {part} differ in {len(wrong)}: only or otherwise here "
                f"{here[:3]}, there {there[:3]}"
            )


def plain(found: Any) -> Any:
    """The same numbers as every program has them."""
    if isinstance(found, dict):
        return {float(key): float(value) for key, value in found.items()}
    return {tuple(map(float, one)) if isinstance(one, tuple) else float(one) for one in found}


def near(one: dict[float, float], other: dict[float, float], key: float) -> bool:
    """Whether two have the same figure, but for the order of summing."""
    return key in one and key in other and abs(one[key] - other[key]) < 1e-6


# What is of the asking, not of the answer.
OF_THE_ASKING = {"took_ms", "reader", "as_at"}


def check_whole(name: str, mine: Any, other: Any) -> None:
    """Raise AssertionError when two whole traces are not the same in every field."""
    for part in fields(mine):
        if part.name in OF_THE_ASKING:
            continue
        one, two = in_order(getattr(mine, part.name)), in_order(getattr(other, part.name))
        if one != two:
            raise AssertionError(f"{name} of {mine.name}: {part.name} is not the same")


def in_order(found: Any) -> Any:
    """A value of a trace without the order of what stands beside each other, to the mg."""
    if is_dataclass(found) and not isinstance(found, type):
        parts = [one.name for one in fields(found) if one.name not in OF_THE_ASKING]
        return [in_order(getattr(found, name)) for name in parts]
    if isinstance(found, float):
        return round(found, 6)
    if isinstance(found, dict):
        return {key: in_order(value) for key, value in found.items()}
    if isinstance(found, list | tuple):
        return sorted((in_order(one) for one in found), key=repr)
    return found

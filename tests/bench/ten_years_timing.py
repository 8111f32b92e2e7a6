"""Asking in turn, and whether all answered alike."""

import statistics
import sys
from collections.abc import Callable, Sequence
from datetime import datetime
from time import perf_counter
from typing import Any

from milk.models import MilkingPart
from milk.withheld_milk import withheld_in

Answer = dict[str, set[Any]]


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
    """Ask each contender about each item, the first one a different one each time."""
    names = list(contenders)
    for name in names:
        contenders[name](items[0])
    for place, item in enumerate(items):
        turn = place % len(names)
        for name in names[turn:] + names[:turn]:
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


def found(model: Any, key: int) -> Any:
    return model.objects.get(pk=key)


def answer_back(trace: Any) -> Answer:
    """A trace back as sets of keys."""
    cows = [(cow.pk, at) for cow in trace.found.animals for at in cow.milkings]
    return {
        "lots": {lot.row.pk for lot in trace.found.lots},
        "cows": {(cow, at.milking.pk) for cow, at in cows},
        "cells": {(cow, at.milking.pk, at.cells[2]) for cow, at in cows if at.cells},
        "withheld": {
            (cow, at.milking.pk, period.course) for cow, at in cows for period in at.withheld
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
    """Withheld milk of the milkings of a span that went into a lot."""

    since, until = span
    parts = MilkingPart.objects.filter(
        milking__happened_at__gte=since, milking__happened_at__lt=until
    )
    pairs = set(parts.values_list("milking_id", flat=True))
    rows = withheld_in(parts.values_list("lot_id", flat=True).distinct())
    return {
        "withheld": {(row.animal, row.milking, row.course) for row in rows if row.milking in pairs}
    }


def check_same(name: str, item: Any, wanted: Answer, got: Answer) -> None:
    """Raise AssertionError naming what differs."""
    for part, own in wanted.items():
        other = {
            tuple(map(float, one)) if isinstance(one, tuple) else float(one) for one in got[part]
        }
        mine = {tuple(map(float, one)) if isinstance(one, tuple) else float(one) for one in own}
        if mine != other:
            raise AssertionError(
                f"{name} of {item}: {part} differ, only here {sorted(mine - other)[:3]}, "
                f"only there {sorted(other - mine)[:3]}"
            )

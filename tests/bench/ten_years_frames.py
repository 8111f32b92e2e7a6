"""The same book and questions in pandas: every table in memory, sorted by what is looked up."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from pathlib import Path

import pandas

from tests.bench.ten_years_peers import HOURS_48, TABLES, Answer


class Frames:
    """pandas: every table in memory, those looked up by number in the order of that number."""

    name = "pandas"

    def __init__(self, folder: Path) -> None:
        self.tables = {
            name: pandas.read_csv(folder / f"{name}.csv", header=None, names=columns.split(", "))
            for name, (columns, _) in TABLES.items()
        }
        self.sorted = {
            (name, column): self.tables[name].sort_values(column, kind="stable")
            for name, column in (
                ("cow", "lot"), ("cow", "milking"), ("vatlot", "vat"), ("vatlot", "lot"),
                ("parent", "lot"), ("lot", "id"),
                ("parent", "parent"), ("part", "lot"), ("part", "milking"), ("milking", "id"),
                ("milking", "began"), ("wheel", "vat"), ("feeding", "began"), ("feeding", "batch"),
                ("recording", "began"), ("period", "since"), ("batch", "id"), ("stay", "herd"),
            )
        }  # fmt: skip
        self.keys = {key: frame[key[1]].to_numpy() for key, frame in self.sorted.items()}
        self.vat_of = dict(
            zip(self.tables["wheel"]["id"], self.tables["wheel"]["vat"], strict=True)
        )

    def rows(self, name: str, column: str, numbers: Iterable[int]) -> pandas.DataFrame:
        """The rows whose column is one of these, by looking up each in the sorted column."""
        keys, frame = self.keys[name, column], self.sorted[name, column]
        parts = [
            frame.iloc[keys.searchsorted(number, "left") : keys.searchsorted(number, "right")]
            for number in sorted(numbers)
        ]
        return pandas.concat(parts) if parts else frame.iloc[:0]

    def span(self, name: str, column: str, low: float, high: float) -> pandas.DataFrame:
        keys, frame = self.keys[name, column], self.sorted[name, column]
        return frame.iloc[keys.searchsorted(low, "left") : keys.searchsorted(high, "right")]

    def back(self, wheel: int) -> Answer:
        vat = self.vat_of[wheel]
        weights = self.rows("wheel", "vat", [vat]).set_index("id")["kg"]
        fraction = weights[wheel] / weights.sum()
        drawn = self.rows("vatlot", "vat", [vat])
        in_vat = dict(zip(drawn["lot"], drawn["kg"], strict=True))
        lots = set(in_vat)
        new = lots
        while new:
            new = set(self.rows("parent", "lot", new)["parent"]) - lots
            lots |= new
        known = self.rows("lot", "id", lots)
        factors = {
            lot: in_vat.get(lot, 0) * fraction / own / 1000
            for lot, own in zip(known["id"], known["kg"], strict=True)
            if own
        }
        parts = self.rows("part", "lot", lots)
        milkings = self.rows("milking", "id", set(parts["milking"]))
        moment = dict(zip(milkings["id"], milkings["began"], strict=True))
        rows = self.rows("cow", "lot", lots)
        kg = (rows["grams"] * rows["lot"].map(factors)).groupby(rows["animal"]).sum().to_dict()
        stood = self.stood(milkings[milkings["metered"] == 0])
        heads = Counter(milking for _, milking in stood)
        # A milking that changed the tank has a part in each of two lots.
        each: dict[int, float] = defaultdict(float)
        for lot, milking, part in zip(parts["lot"], parts["milking"], parts["kg"], strict=True):
            if milking in heads:
                each[milking] += part * 1000 * factors.get(lot, 0) / heads[milking]
        for animal, milking in stood:
            kg[animal] = kg.get(animal, 0.0) + each[milking]
        cows = set(zip(rows["animal"], rows["milking"], strict=True)) | stood
        return {
            "lots": lots,
            "kg": kg,
            "cells": self.counts(cows, moment),
            "withheld": self.withheld(cows, moment, max(moment.values())),
            "feeds": self.feeds(milkings),
        }

    def stood(self, milkings: pandas.DataFrame) -> set[tuple[int, int]]:
        found = set()
        for milking, herd, at in zip(
            milkings["id"], milkings["herd"], milkings["began"], strict=True
        ):
            stays = self.rows("stay", "herd", [herd])
            there = stays[(stays["since"] <= at) & ~(stays["until"] <= at)]
            rows = self.rows("cow", "milking", [milking])
            out = set(rows[rows["goes"] == 1]["animal"])
            found |= {(animal, milking) for animal in there["animal"] if animal not in out}
        return found

    def counts(self, cows: set[tuple[int, int]], moment: dict[int, int]) -> dict[int, float]:
        """By animal, the latest count at the last of her milkings."""
        at: dict[int, int] = {}
        for animal, milking in cows:
            at[animal] = max(at.get(animal, 0), moment[milking])
        first, last = min(moment.values()), max(moment.values())
        rows = self.span("recording", "began", first - 400 * 86400, last)
        rows = rows[~(rows["valid_to"] <= first)]
        return {
            animal: float(cells)
            for animal, taken, until, cells in rows.itertuples(index=False)
            if animal in at and taken <= at[animal] and not until <= at[animal]
        }

    def withheld(
        self, cows: set[tuple[int, int]], moment: dict[int, int], last: int
    ) -> set[tuple[int, int, int]]:
        first = min(moment.values())
        rows = self.span("period", "since", 0, last)
        rows = rows[~(rows["until"] <= first)]
        periods = defaultdict(list)
        for number, animal, since, until in rows.itertuples(index=False):
            periods[animal].append((number, since, until))
        return {
            (animal, milking, number)
            for animal, milking in cows
            for number, since, until in periods.get(animal, ())
            if since <= moment[milking] and not until <= moment[milking]
        }

    def feeds(self, milkings: pandas.DataFrame) -> set[tuple[int, bool]]:
        spans: dict[int, list[int]] = defaultdict(list)
        for herd, at in zip(milkings["herd"], milkings["began"], strict=True):
            spans[herd].append(at)
        every = [at for ats in spans.values() for at in ats]
        rows = self.span("feeding", "began", min(every) - HOURS_48, max(every))
        fed = [
            (batch, at)
            for _, herd, at, batch in rows.itertuples(index=False)
            if any(one - HOURS_48 <= at <= one for one in spans.get(herd, ()))
        ]
        batches = self.rows("batch", "id", {batch for batch, _ in fed})
        due = dict(zip(batches["id"], batches["deadline"], strict=True))
        late: dict[int, bool] = defaultdict(bool)
        for batch, at in fed:
            late[batch] |= bool(at > due[batch])
        return set(late.items())

    def forward(self, batch: int) -> Answer:
        fed = self.rows("feeding", "batch", [batch])
        milkings: set[int] = set()
        for herd, at in zip(fed["herd"], fed["began"], strict=True):
            rows = self.span("milking", "began", at, at + HOURS_48)
            milkings |= set(rows[rows["herd"] == herd]["id"])
        lots = set(self.rows("part", "milking", milkings)["lot"])
        started = set(lots)
        new = lots
        while new:
            new = set(self.rows("parent", "parent", new)["lot"]) - lots
            lots |= new
        vats = set(self.rows("vatlot", "lot", started)["vat"])
        return {"lots": lots, "vats": vats, "wheels": set(self.rows("wheel", "vat", vats)["id"])}

    def sweep(self, since: int, until: int) -> Answer:
        periods = self.span("period", "since", 0, until)
        periods = periods[~(periods["until"] <= since)]
        milkings = self.span("milking", "began", since, until - 1)
        moment = dict(zip(milkings["id"], milkings["began"], strict=True))
        rows = self.span("cow", "milking", min(moment), max(moment))
        animals = set(periods["animal"])
        rows = rows[rows["lot"].notna() & rows["animal"].isin(animals)]
        cows = {
            one for one in zip(rows["animal"], rows["milking"], strict=True) if one[1] in moment
        }
        stood = self.stood(milkings[milkings["metered"] == 0])
        cows |= {one for one in stood if one[0] in animals}
        of = defaultdict(list)
        for number, animal, begin, end in periods.itertuples(index=False):
            of[animal].append((number, begin, end))
        return {
            "withheld": {
                (animal, milking, number)
                for animal, milking in cows
                for number, begin, end in of[animal]
                if begin <= moment[milking] and not end <= moment[milking]
            }
        }

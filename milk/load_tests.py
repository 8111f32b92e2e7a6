"""Files of laboratories: results of milk lots, one result a row or one column a measurement."""

import re
from dataclasses import dataclass
from datetime import datetime, time
from decimal import Decimal
from functools import partial
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from config import cells
from config.cells import CellError, Reading
from config.columns import NUMBER, Column, Question, Row, Unanswered, nearest
from config.errors import Refused, as_validation_error
from config.loading import Load, Strange, day_of, estate_zone, given_once
from milk.models import LotTest, MilkLot
from milk.models.limits import Verdict, What
from milk.services import tests

NOON = time(12, 0)
COUNT_UNITS = {"thousands": Decimal(1), "units": Decimal("0.001")}
COUNTED = (What.PLATE, What.CELLS)
NEAR_LOTS = 200
VERDICTS = {
    **dict.fromkeys(("negative", "neg", "notdetected", "notfound"), Verdict.NEGATIVE),
    **dict.fromkeys(("positive", "pos", "+", "detected", "found"), Verdict.POSITIVE),
    **dict.fromkeys(("doubt", "indoubt", "doubtful", "?"), Verdict.DOUBT),
}
ASK_LABORATORY = (
    "It may mean not found or not done: ask the laboratory and write negative, positive or doubt"
)
NO_LOT = "the code of a milk lot"
NO_LOT_THEN = "a milking of that tank and day that has a lot"
SEVERAL_LOTS = "one lot; there are {codes}"
WITHOUT_RESULT = "{n} rows without any result: left out"


@dataclass(frozen=True)
class Said:
    """A result as a file gives it: as written, and the number or verdict it stands for."""

    written: str
    value: Decimal | None = None
    verdict: str = ""


def read_number(
    text: str, reading: Reading, *, places: int = 4, factor: Decimal = Decimal(1)
) -> Said | None:
    """A result in numbers, such as "187,5" or "<10"; None when it was not measured."""
    value = cells.bounded(text, reading, least=-10_000, most=10**8, places=places, factor=factor)
    if value is None:
        return None
    mark = text[0] if text[0] in "<>" else ""
    plain = f"{mark}{value.normalize():f}"
    return Said(
        text if factor == 1 and not cells.is_unclear_number(text.lstrip("<> ")) else plain, value
    )


def read_verdict(text: str, reading: Reading) -> Said | None:
    """What an inhibitor test said; None for an empty cell."""
    if text.casefold() in cells.NOT_MEASURED - {"", "-", "–", "—"}:
        raise CellError("negative, positive or doubt", ASK_LABORATORY)
    if text.casefold() in cells.NOT_MEASURED:
        return None
    return Said(text, verdict=cells.choice(text, reading, words=VERDICTS))


def result_column(what: What) -> Column:
    """The column of one thing that is measured."""
    label = str(what.label).partition(",")[0]
    names = (label, f"{what.value} pct", f"{what.value} result", str(what.label))
    if what == What.INHIBITOR:
        return Column(name=what.value, names=(*names, "inhibitors"), read=read_verdict)
    if what not in COUNTED:
        return Column(name=what.value, names=names, read=read_number, looks=NUMBER)
    return Column(
        name=what.value,
        names=names[:2],
        read=partial(read_number, places=1),
        looks=NUMBER,
        quantity=what.value,
        units=COUNT_UNITS,
        unit_names={
            **{f"{word} thousand per ml": "thousands" for word in (what.value, label)},
            **{f"{word} per ml": "units" for word in (what.value, label)},
        },
    )


RESULTS = tuple(result_column(what) for what in What)
WHATS = {
    re.sub(r"[.\s]", "", word.casefold()): what.value
    for what in What
    for word in (what.value, str(what.label).partition(",")[0])
}


class LotTestFile:
    """Results of lots, on their way into the book."""

    def __init__(self, load: Load) -> None:
        self.load = load
        self.seen: dict[Any, int] = {}
        self.wide = [column.name for column in RESULTS if column.name in load.headers]
        self.reading = Reading(load.request.now.astimezone(estate_zone()), load.request.decimal)

    def take(self) -> None:
        """Write the file."""
        self.load.judge(self.take_row)

    def take_row(self, row: Row) -> None:
        """Judge one row and do what it says. Raises Strange."""
        lot = self.lot_of(row)
        at = self.sampled_at(row, lot)
        results = self.results_of(row)
        if not results:
            self.load.note(WITHOUT_RESULT)
            self.load.same()
            return
        known = {what: self.known(lot, what, at, row) for what in results}
        for what in results:
            given_once(self.seen, (lot.pk, what, day_of(at), row["sample"] or ""), row, "sample")
        changed = {
            what: (known[what], said)
            for what, said in results.items()
            if differs(known[what], said)
        }
        fresh = [what for what in results if known[what] is None]
        if changed:
            told = {what: (spoken(old), said.written) for what, (old, said) in changed.items()}
            if not self.load.changed(row, f"lot {lot}", told):
                return
        with transaction.atomic():
            for what, (old, said) in changed.items():
                self.write(row, lot, what, said, at, old)
            for what in fresh:
                self.write(row, lot, what, results[what], at)
        if changed:
            return
        if fresh:
            self.load.new(row)
        else:
            self.load.same()

    def write(
        self,
        row: Row,
        lot: MilkLot,
        what: str,
        said: Said,
        at: datetime,
        old: LotTest | None = None,
    ) -> None:
        """Write one result, in the place of an old one when there is one. Raises Strange."""
        try:
            if old is not None:
                why = {"reason": "quantity", "words": self.load.words()}
                tests.strike_lot_test(old, by=self.load.request.by, **why)
                at = old.happened_at
            tests.record_lot_test(
                stamp=self.load.stamp(at, replaces=old),
                lot=lot,
                what=what,
                value=said.value,
                verdict=said.verdict,
                written=said.written,
                **{name: row[name] or "" for name in ("sample", "laboratory", "method")},
            )
        except (ValidationError, Refused) as error:
            words = as_validation_error(error)
            assert words is not None
            column = what if what in self.wide else "result"
            expected = f"a result the book takes ({' '.join(words.messages).rstrip('.')})"
            raise Strange(column, expected, found=said.written) from error

    def results_of(self, row: Row) -> dict[str, Said]:
        """What was measured in a row: from one column for each thing, or from what and result."""
        found = {what: row[what] for what in self.wide if row[what] is not None}
        if row["result"]:
            if not row["what"]:
                raise Strange("what", f"what was measured: {', '.join(What.values)}")
            said = self.long_result(row)
            if said is not None:
                found[row["what"]] = said
        return found

    def long_result(self, row: Row) -> Said | None:
        """The result of a row that names what was measured. Raises Strange, Unanswered."""
        what = What(row["what"])
        try:
            if what == What.INHIBITOR:
                return read_verdict(row["result"], self.reading)
            if what not in COUNTED:
                return read_number(row["result"], self.reading)
            unit = row["unit"] or self.load.request.units.get(what.value, "")
            if unit not in COUNT_UNITS:
                words = f"The file does not say the unit of {what.value} (a cell: {row['result']})."
                raise Unanswered([Question(f"unit {what.value}", words, tuple(COUNT_UNITS))])
            factor = COUNT_UNITS[unit]
            return read_number(row["result"], self.reading, places=1, factor=factor)
        except CellError as error:
            raise Strange("result", error.expected, error.remedy) from error

    def lot_of(self, row: Row) -> MilkLot:
        """The lot a row is about, by its code or by tank, day and milking. Raises Strange."""
        if row["lot"]:
            return lot_named(row["lot"])
        if not row["tank"] or not row["date"]:
            raise Strange("tank", "a lot, or a tank with the date")
        name = row["tank"].casefold().removeprefix("tank ").strip()
        lots = MilkLot.objects.valid().filter(tank__name__iexact=name, day=day_of(row["date"]))
        if row["session"]:
            lots = lots.filter(session=row["session"])
        if row["time"] or isinstance(row["date"], datetime):
            at = self.load.moment(row, "date", row["time"] or NOON)
            lots = lots.filter(opened_at__lte=at).order_by("-opened_at")[:1]
        found = list(lots)
        if not found:
            raise Strange("tank", NO_LOT_THEN)
        if len(found) > 1:
            raise Strange(
                "tank",
                SEVERAL_LOTS.format(codes=", ".join(lot.code for lot in found)),
                "Name the lot",
            )
        return found[0]

    def sampled_at(self, row: Row, lot: MilkLot) -> datetime:
        """When the sample was taken; without a time, when the lot was opened or at noon later."""
        timed = row["time"] is not None or isinstance(row["date"], datetime)
        if not timed and row["date"] in (None, day_of(lot.opened_at)):
            return lot.opened_at
        return self.load.moment(row, "date", row["time"] or NOON)

    def known(self, lot: MilkLot, what: str, at: datetime, row: Row) -> LotTest | None:
        """The standing result of the same sample; None when there is none."""
        found = LotTest.objects.standing().filter(lot=lot, what=what, sample=row["sample"] or "")
        day = day_of(at)
        return next((test for test in found if day_of(test.happened_at) == day), None)


def lot_named(code: str) -> MilkLot:
    """The lot with this code. Raises Strange with the codes most like it."""
    try:
        return MilkLot.find(code)
    except MilkLot.DoesNotExist as error:
        latest = MilkLot.objects.valid().order_by("-pk").values_list("code", flat=True)
        near = ", ".join(nearest(code.upper(), list(latest[:NEAR_LOTS])))
        raise Strange("lot", f"{NO_LOT} (nearest: {near})" if near else NO_LOT) from error


def differs(old: LotTest | None, said: Said) -> bool:
    """Whether the book has another number or verdict."""
    return old is not None and (old.value, old.verdict) != (said.value, said.verdict)


def spoken(test: LotTest | None) -> str:
    """A result as a person reads it."""
    return "" if test is None else test.written or str(test.value or test.get_verdict_display())

"""Files of laboratories: results of milk lots, one result a row or one column a measurement."""

import re
from dataclasses import dataclass, replace
from datetime import datetime, time
from decimal import Decimal
from functools import partial
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config import cells
from config.cells import CellError, Reading
from config.columns import (
    NUMBER,
    Column,
    Question,
    Row,
    Unanswered,
    nearest,
    plain_header,
)
from config.days import estate_zone
from config.errors import Refused, as_validation_error
from config.intake import Request
from config.language import STANDARD
from config.loading import Load, Strange, day_of, given_once
from config.sheets import Sheet
from milk.models import Delivery, LotTest, MilkLot
from milk.models.limits import What
from milk.results import OTHER_UNITS, UNITS, VERDICTS, units_of
from milk.services import laboratories, tests

NOON = time(12, 0)
COUNT_UNITS = {"thousands": Decimal(1), "units": Decimal("0.001")}
COUNTED = (What.PLATE, What.CELLS)
# Of these laboratories use several units, and the number stays in that of the paper.
IN_SEVERAL_UNITS = tuple(what for what in OTHER_UNITS if what not in COUNTED)
NEAR_LOTS = 200
LABORATORY_WORDS = ("laboratory", "lab")
ASK_LABORATORY = N_(
    "It may mean not found or not done: ask the laboratory and write negative, positive or doubt"
)
NO_LOT = N_("the code of a milk lot")
NO_LOT_THEN = N_("a milking of that tank and day that has a lot")
SEVERAL_LOTS = N_("one lot; there are {codes}")
NO_DELIVERY = N_("the number of a delivery note in the book")
WITHOUT_RESULT = N_("{n} rows without any result: left out")


@dataclass(frozen=True)
class Said:
    """A result as a file gives it: as written, the number or verdict it stands for, its unit."""

    written: str
    value: Decimal | None = None
    verdict: str = ""
    unit: str = ""

    def __str__(self) -> str:
        return f"{self.written} {self.unit}".rstrip()


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
        raise CellError(_("negative, positive or doubt"), _(ASK_LABORATORY))
    if text.casefold() in cells.NOT_MEASURED:
        return None
    return Said(text, verdict=cells.choice(text, reading, words=VERDICTS))


def in_files(what: What) -> str:
    """What is measured as files call it, whoever reads them: never in the language of a reader."""
    with translation.override(STANDARD):
        return str(what.label)


def result_column(what: What) -> Column:
    """The column of one thing that is measured."""
    label = in_files(what).partition(",")[0]
    names = (
        label,
        f"{what.value} pct",
        f"{what.value} result",
        in_files(what),
    )
    if what == What.INHIBITOR:
        return Column(name=what.value, names=(*names, "inhibitors"), read=read_verdict)
    if what in IN_SEVERAL_UNITS:
        units = units_of(what)
        return Column(
            name=what.value,
            names=names[:2],
            read=read_number,
            looks=NUMBER,
            quantity=what.value,
            units=dict.fromkeys(units, Decimal(1)),
            unit_names={f"{word} {unit}": unit for word in (what.value, label) for unit in units},
        )
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
    for word in (what.value, in_files(what).partition(",")[0])
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
            self.load.note(_(WITHOUT_RESULT))
            self.load.same(row)
            return
        known = {what: self.known(lot, what, at, row) for what in results}
        delivery = self.delivery_of(row)
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
            if not self.load.changed(row, _("lot {lot}").format(lot=lot), told):
                return
        with transaction.atomic():
            for what, (old, said) in changed.items():
                self.write(row, lot, delivery, what, said, at, old)
            for what in fresh:
                self.write(row, lot, delivery, what, results[what], at)
        if changed:
            return
        if fresh:
            self.load.new(row)
        else:
            self.load.same(row)

    def write(
        self,
        row: Row,
        lot: MilkLot,
        delivery: Delivery | None,
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
                delivery=delivery,
                what=what,
                value=said.value,
                verdict=said.verdict,
                written=said.written,
                unit=said.unit,
                sample=row["sample"] or "",
                method=row["method"] or "",
                laboratory=row["laboratory"] or self.load.option("laboratory"),
            )
        except (ValidationError, Refused) as error:
            words = as_validation_error(error)
            assert words is not None
            column = what if what in self.wide else "result"
            said_so = " ".join(words.messages).rstrip(".")
            expected = _("a result the book takes ({words})").format(words=said_so)
            raise Strange(column, expected, found=said.written) from error

    def results_of(self, row: Row) -> dict[str, Said]:
        """What was measured in a row: from one column for each thing, or from what and result."""
        found = {
            what: replace(row[what], unit=self.unit_of(what))
            for what in self.wide
            if row[what] is not None
        }
        if row["result"]:
            if not row["what"]:
                known = ", ".join(What.values)
                raise Strange("what", _("what was measured: {each}").format(each=known))
            said = self.long_result(row)
            if said is not None:
                found[row["what"]] = said
        return found

    def unit_of(self, what: str) -> str:
        """The unit of a column's results: of its header, or as a person said."""
        if what in IN_SEVERAL_UNITS:
            return self.load.units[what]
        return UNITS[what]

    def long_result(self, row: Row) -> Said | None:
        """The result of a row that names what was measured. Raises Strange, Unanswered."""
        what = What(row["what"])
        try:
            if what == What.INHIBITOR:
                return read_verdict(row["result"], self.reading)
            if what in COUNTED:
                unit = self.long_unit(row, what, tuple(COUNT_UNITS))
                factor = COUNT_UNITS[unit]
                said = read_number(row["result"], self.reading, places=1, factor=factor)
                return None if said is None else replace(said, unit=UNITS[what])
            said = read_number(row["result"], self.reading)
            if said is None or what not in IN_SEVERAL_UNITS:
                return said
            return replace(said, unit=self.long_unit(row, what, units_of(what)))
        except CellError as error:
            raise Strange("result", error.expected, error.remedy) from error

    def long_unit(self, row: Row, what: What, known: tuple[str, ...]) -> str:
        """The unit of a row's result. Raises Unanswered when nothing says it, Strange for another.

        ``known``: the words for it, as a question offers them.
        """
        unit: str = row["unit"] or self.load.request.units.get(what.value, "")
        if not unit:
            words = _("The file does not say the unit of {what} (a cell: {row}).").format(
                what=what.value, row=row["result"]
            )
            raise Unanswered([Question(f"unit {what.value}", words, known)])
        if unit not in known:
            words = _("a unit of {what}: {each}")
            words = words.format(what=what.value, each=_(" or ").join(known))
            raise Strange("unit", words, found=unit)
        return unit

    def delivery_of(self, row: Row) -> Delivery | None:
        """The delivery a row names by its note; None when it names none. Raises Strange."""
        note = row["delivery"]
        if not note:
            return None
        found = Delivery.objects.standing().filter(paper__iexact=note).order_by("-happened_at")
        delivery: Delivery | None = found.first()
        if delivery is None:
            notes = Delivery.objects.standing().exclude(paper="").order_by("-pk")
            near = ", ".join(nearest(note, list(notes.values_list("paper", flat=True)[:NEAR_LOTS])))
            raise Strange("delivery", with_near(_(NO_DELIVERY), near))
        return delivery

    def lot_of(self, row: Row) -> MilkLot:
        """The lot a row is about, by its code or by tank, day and milking. Raises Strange."""
        if row["lot"]:
            return lot_named(row["lot"])
        delivery = self.delivery_of(row)
        if delivery is not None:
            try:
                return tests.lot_of(None, delivery)
            except ValidationError as error:
                raise Strange("delivery", " ".join(error.messages).rstrip(".")) from error
        if not row["tank"] or not row["date"]:
            raise Strange("tank", _("a lot, or a tank with the date"))
        name = row["tank"].casefold().removeprefix("tank ").strip()
        lots = MilkLot.objects.valid().filter(tank__name__iexact=name, day=day_of(row["date"]))
        if row["session"]:
            lots = lots.filter(session=row["session"])
        if row["time"] or isinstance(row["date"], datetime):
            at = self.load.moment(row, "date", row["time"] or NOON)
            lots = lots.filter(opened_at__lte=at).order_by("-opened_at")[:1]
        found = list(lots)
        if not found:
            raise Strange("tank", _(NO_LOT_THEN))
        if len(found) > 1:
            raise Strange(
                "tank", _(SEVERAL_LOTS).format(codes=", ".join(map(str, found))), _("Name the lot")
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
        raise Strange("lot", with_near(_(NO_LOT), near)) from error


def with_near(expected: str, near: str) -> str:
    """What was expected, with what is most like it in the book."""
    return (
        _("{expected} (nearest: {near})").format(expected=expected, near=near) if near else expected
    )


def differs(old: LotTest | None, said: Said) -> bool:
    """Whether the book has another number, unit or verdict."""
    if old is None:
        return False
    units = {"", UNITS[old.what]}
    unit_differs = old.unit != said.unit and not {old.unit, said.unit} <= units
    return unit_differs or (old.value, old.verdict) != (said.value, said.verdict)


def spoken(test: LotTest | None) -> str:
    """A result as a person reads it."""
    return "" if test is None else test.said


def laboratory_of(request: Request, sheet: Sheet) -> str:
    """The laboratory a file is from: as said, or the only one its own column names; else ""."""
    said = request.options.get("laboratory", "").strip()
    if said:
        return said
    places = [
        index for index, cell in enumerate(sheet.header) if plain_header(cell) in LABORATORY_WORDS
    ]
    if not places:
        return ""
    named = {line.cells[places[0]].strip() for line in sheet.lines() if not line.fault}
    return named.pop() if len(named) == 1 else ""


def memory(request: Request, sheet: Sheet) -> dict[str, str]:
    """What is known of the files of this laboratory."""
    return laboratories.remembered(laboratory_of(request, sheet), request.now)


def learn(load: Load) -> None:
    """Keep what was said about the files of this laboratory."""
    names = {row["laboratory"] or load.option("laboratory") for row in load.rows}
    if len(names) != 1 or not (laboratory := names.pop()):
        return
    request = load.request
    answers = {f"unit {name}": unit for name, unit in request.units.items()}
    answers |= {f"column {name}": word for name, word in request.columns.items()}
    answers |= {"decimal": request.decimal, "dates": request.dates}
    laboratories.remember(load.stamp(request.now), laboratory, answers)

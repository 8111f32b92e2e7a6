"""One row of any kind of entry, for tests that go through all of them."""

from collections.abc import Callable
from datetime import date, time, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from django.db import models

from config.entries import Entry
from config.kinds import all_kinds
from milk.models import BrineRow
from tests.factories import cheese, feed, herd, milk

STAMP = {field.name for field in Entry._meta.fields}
number = count(1)

# Where neither the factory of the app by its usual name nor a plain guess will do.
MAKERS: dict[str, Callable[[], Any]] = {
    "GroupStay": lambda: herd.put_in_group(herd.make_animal(), herd.make_group(milked=False)),
    "FeedShareRule": lambda: guessed("FeedShareRule", at_most=Decimal(1)),
    "FieldWork": feed.make_work,
    "ForageBatch": feed.make_batch,
    "AirHour": lambda: guessed("AirHour", hour=herd.NOON + next(number) * herd.HOUR),
    "ClearanceRule": lambda: feed.make_clearance_rule(valid_from=another_day()),
    "DryMatterSample": feed.make_sample,
    "FeedFigure": lambda: guessed("FeedFigure", valid_from=another_day()),
    "StackCheck": lambda: feed.make_stack_check(feed.make_feed_lot()),
    "WaitRule": lambda: feed.make_wait_rule(valid_from=another_day()),
    "WindowRule": lambda: feed.make_window_rule(from_temperature=next(number) % 900),
    "StoreStay": lambda: milk.put_in_store(milk.make_wheel()),
    "StoreGap": lambda: milk.lose(milk.make_wheel()),
    "StoreRound": lambda: guessed("StoreRound", aisle=milk.make_store_place().aisle),
    "BrineStay": lambda: milk.put_in_brine(milk.make_wheel()),
    "BrineOut": lambda: milk.soak(milk.make_wheel()),
    "BrineReading": lambda: guessed("BrineReading", temperature=Decimal(15)),
    "RoomReading": lambda: guessed("RoomReading", temperature=Decimal(16)),
}
# Values a plain guess would not meet, because a rule of the table asks for them.
NEEDED: dict[str, Callable[[], dict[str, Any]]] = {
    "MedicineMove": lambda: {"what": "broken"},
    "HoldStep": lambda: {
        "hold": guessed("Hold", tank=milk.make_tank()),
        "what": "sampled",
        "why": "",
    },
    "UnfitSign": lambda: {"valid_from": another_day()},
    "Limit": lambda: {"at_most": Decimal(1)},
    "CheeseLimit": lambda: {"what": "salmonella", "valid_from": another_day()},
    "ResidueLimit": lambda: {"valid_from": another_day()},
    "CheeseTest": lambda: {"what": "staphylococci", "written": "10"},
    "MilkFigure": lambda: {"valid_from": another_day()},
    "GradeRule": lambda: {"valid_from": another_day()},
    "AgeRule": lambda: {"valid_from": another_day()},
    "Pallet": lambda: {"sscc": cheese.make_sscc()},
    "WheelReturn": lambda: {
        "dispatch": guessed("Dispatch", buyer=milk.make_buyer()),
        "hold": guessed("Hold", tank=milk.make_tank()),
    },
    "BreedRule": lambda: {"gestation_days": 285},
    "FieldWalk": lambda: {"cover": 2400},
    "WithheldMilk": lambda: {"group": herd.make_group(milked=False)},
    "WrongCow": lambda: {"hold": guessed("Hold", tank=milk.make_tank())},
    "Hold": lambda: {"tank": milk.make_tank()},
    "OutsideFinding": lambda: {
        "about_kind": "wheel",
        "about": str(milk.make_wheel().uuid),
        "about_name": "wheel",
    },
    "RecallStep": lambda: {"wheel": milk.make_wheel(), "answer": ""},
    "VatFill": lambda: {"tank": milk.make_tank()},
    "Tray": lambda: {"number": next(number) % 30_000 + 1},
    "PlateReceipt": lambda: {"first": "0000001", "last": "0999999"},
    "BrineRow": lambda: {"bath": "1", "row": next_row(), "holds": 40},
}


def another_day() -> date:
    """A day no other row has, for tables that take one row a day."""
    return date(2000, 1, 1) + timedelta(days=next(number) % 9_000)


def next_row() -> str:
    """The next row of bath 1; the first is the one that made-up stays in brine are in."""
    return str(BrineRow.objects.filter(bath="1").count() + 1)


def one_of_every_kind() -> None:
    """An entry of every kind that the book has none of."""
    for kind in all_kinds():
        if not kind.model.objects.exists():
            make_any(kind.model)


def make_any(model: type[Entry]) -> Entry:
    """A standing entry of a model: by the factory of its app when there is one, else guessed."""
    name = model.__name__
    if name in MAKERS:
        made: Entry = MAKERS[name]()
        return made
    for module in (herd, feed, milk, cheese):
        factory = getattr(module, f"make_{snake(name)}", None)
        if factory is not None and name not in NEEDED:
            made = factory()
            return made
    values = NEEDED.get(name, dict)()
    guessed_entry: Entry = herd.make(model, **{**guesses(model), **values})
    return guessed_entry


def guessed(name: str, **values: Any) -> Entry:
    """An entry of the model with this name, guessed but for some values."""
    model = next(model for model in Entry.__subclasses__() if model.__name__ == name)
    made: Entry = herd.make(model, **{**guesses(model), **values})
    return made


def snake(name: str) -> str:
    """A class name as a function's ("HeapCheck" to "heap_check")."""
    return "".join(f"_{c.lower()}" if c.isupper() else c for c in name).lstrip("_")


def guesses(model: type[Entry]) -> dict[str, Any]:
    """A value for each column that must be filled."""
    return {
        field.name: guess(field)
        for field in model._meta.fields
        if field.name not in STAMP and not field.null and not field.has_default()
    }


def guess(field: Any) -> Any:
    """A value a column takes, another one each time for texts."""
    if field.many_to_one:
        return make_any(field.related_model)
    if field.choices:
        return field.choices[0][0]
    match field:
        case models.CharField():
            return "" if field.blank else str(next(number))[: field.max_length]
        case models.BooleanField():
            return False
        case models.DateTimeField():
            return herd.NOON
        case models.DateField():
            return date(2026, 6, 2)
        case models.TimeField():
            return time(4, 30)
        case models.DecimalField():
            return Decimal(1)
    return 1


def filled(body: dict[str, Any], world: dict[str, Entry]) -> dict[str, Any]:
    """The body with the ids of the world's entries in it."""
    return {
        name: str(world[value].uuid) if isinstance(value, str) and value in world else value
        for name, value in body.items()
    }

"""Files about the milk: milkings of single cows, and laboratories' results of lots."""

from functools import partial

from django.utils.translation import gettext_noop as N_

from config import cells
from config.columns import DAY, Column
from config.loading import Loader, Option, register
from herd.load_columns import CONTENTS, COW, LACTATION, ON, SESSION, kilos_column
from milk.load_milkings import MilkingFile
from milk.load_tests import (
    IN_SEVERAL_UNITS,
    LABORATORY_WORDS,
    RESULTS,
    WHATS,
    LotTestFile,
    learn,
    memory,
)
from milk.results import units_of

TIME = Column(name="time", names=("at", "hour", "milked at"), read=cells.clock)
TANK = Column(name="tank", names=("into tank",), read=partial(cells.tag, longest=20))
MILKINGS = Loader(
    kind="milkings",
    title=N_("milkings of single cows, as meters or recording offices give them"),
    key="the animal, the day and the milking (with its time or lactation number, where given)",
    columns=(
        COW,
        ON,
        SESSION,
        TIME,
        LACTATION,
        kilos_column("milk_kg", "milk", "yield", bare=True),
        Column(name="group", names=("group number",), read=partial(cells.whole, most=32_767)),
        TANK,
        Column(name="kept_out", names=("kept out of the tank", "waste"), read=cells.yes_no),
        *CONTENTS,
    ),
    either=(("milk_kg",), ("session", "time", "date")),
    options=(
        Option(name="group", help=N_("number of the group all rows belong to")),
        Option(name="tank", help=N_("name of the tank all milk went into")),
    ),
    take=lambda load: MilkingFile(load).take(),
)
LOT_TESTS = Loader(
    kind="lot-tests",
    title=N_("laboratories' results of milk lots"),
    key="the lot, what was measured, the day of the sample and its number",
    columns=(
        Column(name="lot", names=("lot code", "lot number"), read=partial(cells.tag, longest=40)),
        Column(
            name="delivery",
            names=("delivery note", "note"),
            read=partial(cells.tag, longest=40),
        ),
        TANK,
        Column(
            name="date",
            names=("sampled on", "sample date", "sampled at", "taken at", "day"),
            read=cells.when,
            looks=DAY,
        ),
        Column(name="time", names=("at", "hour", "sampled"), read=cells.clock),
        SESSION,
        Column(
            name="what",
            names=("test", "measured", "parameter"),
            read=partial(cells.choice, words=WHATS),
        ),
        Column(name="result", names=("value", "result as written")),
        Column(
            name="unit",
            read=partial(
                cells.choice,
                words={
                    "thousands": "thousands",
                    "thousandperml": "thousands",
                    "1000/ml": "thousands",
                    "perml": "units",
                    "/ml": "units",
                    "units": "units",
                    "%": "",
                    **{
                        unit.casefold(): unit
                        for what in IN_SEVERAL_UNITS
                        for unit in units_of(what)
                    },
                    "perlitre": "",
                    "/l": "",
                },
            ),
        ),
        *RESULTS,
        Column(
            name="sample",
            names=("sample number", "sample no"),
            read=partial(cells.tag, longest=30),
        ),
        Column(
            name="laboratory", names=LABORATORY_WORDS[1:], read=partial(cells.remark, longest=80)
        ),
        Column(name="method", read=partial(cells.remark, longest=80)),
    ),
    either=(("lot", "tank", "delivery"), ("result", *(column.name for column in RESULTS))),
    options=(Option(name="laboratory", help=N_("the laboratory the file is from")),),
    take=lambda load: LotTestFile(load).take(),
    memory=memory,
    learn=learn,
)
register((MILKINGS, LOT_TESTS))

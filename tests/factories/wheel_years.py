"""Years of wheels written by the database itself: brine, store, grades, dispatches, rounds.

For tests of plans and for benchmarks of the brine, the store, grading, orders and recalls. Two
steps, in one transaction, which the caller takes back:

    write_makes(WheelShape(first=…))           # days, vats, lots behind them, two wheels a vat
    write_lives(WheelShape(first=…))           # what happened to every wheel in the book since

``write_lives`` takes whatever wheels stand in the book, so a benchmark that needs cows and milkings
behind them calls ``tests.factories.years.write_years`` first and leaves ``write_makes`` out. The
default shape is the estate's size: ten years, 25 vats a day, 182,500 wheels, of which the last
47,000 lie in store or brine; the others were sent, 24 on a paper, to twenty buyers. A wheel is 20
days in brine, is graded at 12, 24 and 36 months (1 in 20 second, 1 in 100 downgraded), and 1 in
100 had a finding. Ten years take two minutes. As in ``years``, rows are written as they are and
no service is timed with it; where wheels lie now is computed by the service that keeps it.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from herd.models import Holding
from milk.models import (
    BrineOut,
    BrineReading,
    BrineRow,
    BrineStay,
    Dispatch,
    Inspection,
    RoomReading,
    StoreFinding,
    StorePlace,
    StoreRound,
    StoreStay,
    Tank,
    Vat,
    Wheel,
)
from milk.services.wheel_places import rebuild_all
from tests.factories.herd import make_user
from tests.factories.years import insert, run, unchecked


@dataclass(frozen=True, kw_only=True)
class WheelShape:
    """How much: ``keep`` wheels are still here at the end; each aisle has 30 × 20 places."""

    first: datetime
    days: int = 3650
    vats: int = 25
    keep: int = 47_000
    spare: int = 3_000
    rounds: bool = True

    def values(self) -> dict[str, Any]:
        return {
            "by": make_user().pk,
            "first": self.first,
            "days": self.days,
            "vats": self.vats,
            "keep": self.keep,
            "places": self.keep + self.spare,
        }


def write_makes(shape: WheelShape) -> None:
    """A lot a day in one tank, its vats, and two wheels of each."""
    values = shape.values()
    with unchecked():
        insert(
            Tank,
            "name, capacity_kg, use",
            "SELECT %(first)s AS at, 'Y' AS name, 60000 AS capacity_kg, 'receiving' AS use",
            **values,
        )
        run(
            "INSERT INTO milk_milklot (uuid, code, tank_id, day, session, opened_at, closed_at, "
            "ended_at, kg, carried_kg, drawn_kg, void) "
            "SELECT gen_random_uuid(), 'Y-' || at::date || '-M', t.id, at::date, 'M', at, "
            "at + interval '1 hour', at + interval '4 hours', %(vats)s * 1120, 0, "
            "%(vats)s * 1120, false FROM milk_tank AS t, "
            "(SELECT %(first)s + d * interval '1 day' + interval '4 hours' AS at "
            " FROM generate_series(0, %(days)s - 1) AS d) AS made "
            "WHERE t.name = 'Y' ORDER BY made.at",
            **values,
        )
        insert(
            Vat,
            "day, number, round",
            "SELECT l.opened_at + interval '2 hours' AS at, l.day, n AS number, 1 AS round "
            "FROM milk_milklot AS l, generate_series(1, %(vats)s) AS n "
            "WHERE l.code LIKE 'Y-%%' ORDER BY l.day, n",
            **values,
        )
        run(
            "INSERT INTO milk_vatlot (vat_id, lot_id, kg) SELECT v.id, l.id, 1120 "
            "FROM milk_vat AS v JOIN milk_milklot AS l ON l.day = v.day AND l.code LIKE 'Y-%%'"
        )
        insert(
            Wheel,
            "plate, vat_id, twin, kg",
            "SELECT v.happened_at + interval '3 hours' AS at, "
            "lpad((row_number() OVER (ORDER BY v.id, t))::text, 7, '0') AS plate, "
            "v.id AS vat_id, t AS twin, 47.5 AS kg "
            "FROM milk_vat AS v, unnest(ARRAY['A', 'B']) AS t ORDER BY v.id, t",
            **values,
        )


def write_lives(shape: WheelShape) -> None:
    """What happened to every wheel in the book, and to the store they lie in."""
    values = shape.values()
    with unchecked():
        run(
            "CREATE TEMPORARY TABLE life ON COMMIT DROP AS SELECT id, n, lifted, "
            "lifted + interval '1 day' AS soaked, lifted + interval '21 days' AS dry, "
            "CASE WHEN n < total - %(keep)s THEN lead(lifted, %(keep)s) OVER (ORDER BY n) END AS "
            "gone FROM (SELECT id, happened_at AS lifted, "
            "row_number() OVER (ORDER BY happened_at, id) - 1 AS n, count(*) OVER () AS total "
            "FROM milk_wheel WHERE struck_at IS NULL) AS made",
            **values,
        )
        run("ANALYZE life")
        for step in (brine, store, grades, sent):
            step(values)
        if shape.rounds:
            care(values)
        run("ANALYZE")
        rebuild_all()
        run("DROP TABLE life")
    run("ANALYZE")


def brine(values: dict[str, Any]) -> None:
    """Four baths of eleven rows; every wheel 20 days in one of them."""
    insert(
        BrineRow,
        "bath, row, holds",
        "SELECT %(first)s AS at, bath::text, row::text, 60 AS holds "
        "FROM generate_series(1, 4) AS bath, generate_series(1, 11) AS row",
        **values,
    )
    insert(
        BrineStay,
        "wheel_id, bath, row",
        "SELECT soaked AS at, id AS wheel_id, (1 + n / 66 %% 4)::text AS bath, "
        "(1 + n / 6 %% 11)::text AS row FROM life WHERE soaked < now() ORDER BY n",
        **values,
    )
    insert(
        BrineOut,
        "wheel_id, stay_id, put_in_at",
        "SELECT l.dry AS at, l.id AS wheel_id, s.id AS stay_id, s.happened_at AS put_in_at "
        "FROM life AS l JOIN milk_brinestay AS s ON s.wheel_id = l.id WHERE l.dry < now()",
        **values,
    )


def store(values: dict[str, Any]) -> None:
    """Three rooms of aisles with 30 columns of 20 shelves; a wheel on each place in turn."""
    insert(
        StorePlace,
        "room, aisle, column, shelf",
        "SELECT %(first)s AS at, (ARRAY['North', 'South', 'West'])[1 + p / 600 %% 3] AS room, "
        '1 + p / 1800 AS aisle, 1 + p / 20 %% 30 AS "column", 1 + p %% 20 AS shelf '
        "FROM generate_series(0, %(places)s - 1) AS p ORDER BY p",
        **values,
    )
    run(
        "CREATE TEMPORARY TABLE shelf ON COMMIT DROP AS SELECT id, "
        "row_number() OVER (ORDER BY id) - 1 AS p FROM milk_storeplace"
    )
    insert(
        StoreStay,
        "wheel_id, place_id, found",
        "SELECT l.dry + interval '1 hour' AS at, l.id AS wheel_id, s.id AS place_id, "
        "false AS found FROM life AS l JOIN shelf AS s ON s.p = l.n %% %(places)s "
        "WHERE l.dry < now() - interval '1 hour' ORDER BY l.n",
        **values,
    )
    run("DROP TABLE shelf")


def grades(values: dict[str, Any]) -> None:
    """Tapped at 12, 24 and 36 months for as long as it is here."""
    insert(
        Inspection,
        "wheel_id, way, grade, kg",
        "SELECT lifted + m * interval '12 months' AS at, id AS wheel_id, 'tap' AS way, "
        "CASE WHEN n %% 100 = 1 THEN 'downgraded' WHEN n %% 20 = 0 THEN 'second' "
        "ELSE 'first' END AS grade, 41.5 - m AS kg "
        "FROM life, generate_series(1, 3) AS m "
        "WHERE lifted + m * interval '12 months' < least(now(), coalesce(gone, now()))",
        **values,
    )


def sent(values: dict[str, Any]) -> None:
    """The oldest leave, 24 on a paper."""
    insert(
        Holding,
        "name, number",
        "SELECT %(first)s AS at, 'Buyer ' || n AS name, 'B' || n AS number "
        "FROM generate_series(0, 19) AS n",
        **values,
    )
    insert(
        Dispatch,
        "wheel_id, buyer_id, kg, paper, order, carrier",
        "SELECT l.gone AS at, l.id AS wheel_id, h.id AS buyer_id, 40.2 AS kg, "
        "'P' || l.n / 24 AS paper, '' AS \"order\", '' AS carrier "
        "FROM life AS l JOIN herd_holding AS h ON h.name = 'Buyer ' || l.n / 24 %% 20 "
        "WHERE l.gone IS NOT NULL ORDER BY l.n",
        **values,
    )


def care(values: dict[str, Any]) -> None:
    """A round of every aisle each nine days, findings, and readings of rooms and baths."""
    insert(
        StoreRound,
        "room, aisle, what",
        "SELECT %(first)s + (d * 9 + p.aisle %% 9) * interval '1 day' AS at, p.room, p.aisle, "
        "'brushed' AS what FROM (SELECT DISTINCT room, aisle FROM milk_storeplace) AS p, "
        "generate_series(0, %(days)s / 9 - 1) AS d",
        **values,
    )
    insert(
        StoreFinding,
        "wheel_id, what, words, put_right",
        "SELECT dry + interval '40 days' AS at, id AS wheel_id, 'mites' AS what, '' AS words, "
        "n %% 300 <> 7 AS put_right FROM life WHERE n %% 100 = 7 AND dry + interval '40 days' < "
        "least(now(), coalesce(gone, now()))",
        **values,
    )
    insert(
        RoomReading,
        "room, temperature, humidity",
        "SELECT %(first)s + h * interval '8 hours' AS at, room, 16.5 AS temperature, "
        "82 AS humidity FROM unnest(ARRAY['North', 'South', 'West']) AS room, "
        "generate_series(0, %(days)s * 3) AS h",
        **values,
    )
    insert(
        BrineReading,
        "bath, strength, unit, temperature",
        "SELECT %(first)s + d * interval '1 day' AS at, b::text AS bath, 22.5 AS strength, "
        "'%%' AS unit, 15 AS temperature FROM generate_series(1, 4) AS b, "
        "generate_series(0, %(days)s) AS d",
        **values,
    )

"""Years of history written by the database itself, for tests of plans and for benchmarks.

The shape is an estate's (groups milked twice a day into two tanks, a lot a session and tank with
something carried over, vats, wheels, loads, recordings, courses), the milk is made up. Rows are
written as they are, computed ones included, so no service is timed with it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection
from django.db.models import Model

from config.entries import Entry
from feed.models import Feeding, Field, ForageBatch
from herd.models import Animal, Course, Group, GroupStay, Medicine, Recording, WithdrawalPeriod
from milk.models import Milking, Tank, Vat, VatFill, Wheel
from tests.factories.herd import make_user

# What every entry has, from `at`, the moment of the row.
ENTRY = {
    "uuid": "gen_random_uuid()",
    "happened_at": "at",
    "written_at": "at",
    "received_at": "at",
    "zone_offset": "120",
    "by_id": "%(by)s",
}


@dataclass(frozen=True, kw_only=True)
class Shape:
    """How much: ``cows`` of each group are milked; every animal is in one group."""

    first: datetime
    days: int
    groups: int = 10
    cows: int = 10
    vats: int = 3
    loads: int = 3
    metered: bool = True


def insert(model: type[Model], columns: str, query: str, **values: Any) -> None:
    """Insert rows: ``query`` gives the columns, under their names, and of an entry `at`.

    What else must not be empty gets the model's default.
    """
    made = dict(ENTRY) if issubclass(model, Entry) else {}
    made |= {name: quoted(name) for name in columns.split(", ")}
    for field in model._meta.concrete_fields:
        if field.column not in {*made, "id"} and not field.null:
            made[field.column] = f"%(default_{field.column})s"
            values[f"default_{field.column}"] = field.get_default()
    run(
        f"INSERT INTO {model._meta.db_table} ({', '.join(map(quoted, made))}) "
        f"SELECT {', '.join(made.values())} FROM ({query}) AS made",
        **values,
    )
    look_at(model._meta.db_table)


def quoted(name: str) -> str:
    """A column's name as SQL takes it also when it is a word of the language."""
    return f'"{name}"'


def run(statement: str, **values: Any) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def look_at(table: str) -> None:
    """Let the database look at a table; the next statement would take minutes without."""
    run(f"ANALYZE {table}")


def write_years(shape: Shape) -> None:
    """Write the history of an estate, and let the database look at it (ANALYZE)."""
    values = {
        "by": make_user().pk,
        "first": shape.first,
        "days": shape.days,
        "groups": shape.groups,
        "cows": shape.cows,
        "vats": shape.vats,
        "loads": shape.loads,
        "metered": shape.metered,
    }
    with unchecked():
        for step in (herd, grass, milk, cheese, health):
            step(values)
    run("ANALYZE")


@contextmanager
def unchecked() -> Iterator[None]:
    """Without triggers and foreign keys: a million checks of made-up rows would take minutes.

    Needs a superuser, as the embedded server's is; inside a transaction only.
    """
    run("SET LOCAL session_replication_role = replica")
    yield
    run("SET LOCAL session_replication_role = origin")


def herd(values: dict[str, Any]) -> None:
    """Groups, animals, and stays: every 50 days the animals move on to the next group."""
    insert(
        Group,
        "number, use",
        "SELECT %(first)s AS at, g AS number, 'milking' AS use "
        "FROM generate_series(1, %(groups)s) AS g",
        **values,
    )
    insert(
        Animal,
        "ear_tag, farm_number, sex",
        "SELECT %(first)s AS at, '999' || lpad(n::text, 12, '0') AS ear_tag, n AS farm_number, "
        "'F' AS sex "
        "FROM generate_series(1, %(groups)s * %(cows)s) AS n",
        **values,
    )
    insert(
        GroupStay,
        "animal_id, group_id, during",
        "SELECT s.at, a.id AS animal_id, g.id AS group_id, "
        "tstzrange(s.at, CASE WHEN s.n < last THEN s.at + interval '50 days' END) AS during "
        "FROM (SELECT n, max(n) OVER () AS last, "
        "      %(first)s + n * interval '50 days' AS at "
        "      FROM generate_series(0, %(days)s / 50) AS n) AS s "
        "CROSS JOIN herd_animal AS a "
        "JOIN herd_group AS g ON g.number = (a.farm_number + s.n) %% %(groups)s + 1",
        **values,
    )


def grass(values: dict[str, Any]) -> None:
    """A field, loads every day, each fed to every second group."""
    insert(
        Field,
        "name, hectares",
        "SELECT %(first)s AS at, 'Mill Field' AS name, 4 AS hectares",
        **values,
    )
    insert(
        ForageBatch,
        "field_id, kg, deadline",
        "SELECT %(first)s + d * interval '1 day' + l * interval '2 hours' AS at, f.id AS field_id, "
        "4000 AS kg, "
        "%(first)s + d * interval '1 day' + (l * 2 + 12) * interval '1 hour' AS deadline "
        "FROM feed_field AS f, generate_series(0, %(days)s - 1) AS d, "
        "generate_series(0, %(loads)s - 1) AS l",
        **values,
    )
    insert(
        Feeding,
        "batch_id, group_id, kg",
        "SELECT b.happened_at + interval '1 hour' + g.number * interval '1 minute' AS at, "
        "b.id AS batch_id, g.id AS group_id, 400 AS kg "
        "FROM feed_foragebatch AS b JOIN herd_group AS g ON (b.id + g.number) %% 2 = 0",
        **values,
    )
    # Nobody leaves a rest for years: a load weighs what was fed of it, and that ended it.
    run(
        "UPDATE feed_foragebatch AS b SET kg = f.kg, done_at = f.last FROM ("
        "SELECT batch_id, sum(kg) AS kg, max(happened_at) AS last FROM feed_feeding "
        "WHERE batch_id IS NOT NULL GROUP BY batch_id) AS f WHERE f.batch_id = b.id",
        none=None,
    )


def milk(values: dict[str, Any]) -> None:
    """Tanks and the milkings of every group; then what follows from them."""
    insert(
        Tank,
        "name, capacity_kg, use",
        "SELECT %(first)s AS at, t AS name, 15000 AS capacity_kg, 'receiving' AS use "
        "FROM unnest(ARRAY['A', 'B']) AS t",
        **values,
    )
    insert(
        Milking,
        "group_id, day, session, tank_id, kg, metered",
        "SELECT s.at, g.id AS group_id, s.at::date AS day, s.session, t.id AS tank_id, "
        "%(cows)s * 12 AS kg, %(metered)s AS metered "
        "FROM (SELECT %(first)s + d * interval '1 day' + h * interval '1 hour' AS at, "
        "      CASE h WHEN 4 THEN 'M' ELSE 'E' END AS session "
        "      FROM generate_series(0, %(days)s - 1) AS d, unnest(ARRAY[4, 16]) AS h) AS s "
        "CROSS JOIN herd_group AS g "
        "JOIN milk_tank AS t ON t.name = CASE WHEN g.number %% 2 = 0 THEN 'A' ELSE 'B' END "
        "ORDER BY s.at, g.number",
        **values,
    )
    lots(values)


def lots(values: dict[str, Any]) -> None:
    """A lot a session and tank, its parts, what was carried over, and meter rows."""
    run(
        "INSERT INTO milk_milklot (uuid, code, tank_id, day, session, milking_id, opened_at, "
        "closed_at, ended_at, kg, carried_kg, drawn_kg, void) "
        "SELECT gen_random_uuid(), name || ' ' || day || session, tank_id, day, session, first, "
        "at, at + interval '4 hours', at + interval '12 hours', kg, "
        "CASE session WHEN 'M' THEN 0 ELSE 10 END, "
        "CASE session WHEN 'M' THEN kg - 10 ELSE kg + 10 END, false "
        "FROM (SELECT t.name, m.tank_id, m.day, m.session, min(m.id) AS first, "
        "      m.happened_at AS at, sum(m.kg) AS kg "
        "      FROM milk_milking AS m JOIN milk_tank AS t ON t.id = m.tank_id "
        "      GROUP BY t.name, m.tank_id, m.day, m.session, m.happened_at) AS made "
        "ORDER BY at, name"
    )
    look_at("milk_milklot")
    run(
        "INSERT INTO milk_milkingpart (lot_id, milking_id, kg) "
        "SELECT l.id, m.id, m.kg FROM milk_milking AS m "
        "JOIN milk_milklot AS l ON (l.tank_id, l.day, l.session) = (m.tank_id, m.day, m.session)"
    )
    look_at("milk_milkingpart")
    run(
        "INSERT INTO milk_lotparent (lot_id, parent_id, kg) "
        "SELECT l.id, p.id, 10 FROM milk_milklot AS l JOIN milk_milklot AS p "
        "ON p.tank_id = l.tank_id AND p.opened_at = l.opened_at - interval '12 hours' "
        "WHERE l.session = 'E'"
    )
    look_at("milk_lotparent")
    if values["metered"]:
        run(
            "INSERT INTO milk_cowmilking (animal_id, milking_id, lot_id, grams, at_s, goes) "
            "SELECT s.animal_id, m.id, p.lot_id, 12000, 600, 0 "
            "FROM milk_milking AS m JOIN milk_milkingpart AS p ON p.milking_id = m.id "
            "JOIN herd_groupstay AS s ON s.group_id = m.group_id AND s.during @> m.happened_at "
            "ORDER BY m.id"
        )


def cheese(values: dict[str, Any]) -> None:
    """Vats of every lot, the lots in them, and two wheels each."""
    insert(
        Vat,
        "day, number, round, remark",
        "SELECT l.opened_at + interval '5 hours' AS at, l.day, "
        "(CASE l.session WHEN 'M' THEN 0 ELSE %(vats)s * 2 END + n * 2 "
        "  + (t.name = 'B')::int + 1) AS number, 1 AS round, "
        "l.id::text AS remark "
        "FROM milk_milklot AS l JOIN milk_tank AS t ON t.id = l.tank_id, "
        "generate_series(0, %(vats)s - 1) AS n",
        **values,
    )
    insert(
        VatFill,
        "vat_id, tank_id, kg",
        "SELECT v.happened_at AS at, v.id AS vat_id, l.tank_id, l.drawn_kg / %(vats)s AS kg "
        "FROM milk_vat AS v JOIN milk_milklot AS l ON l.id = v.remark::int",
        **values,
    )
    run(
        "INSERT INTO milk_lotdraw (lot_id, at, kg, vat_fill_id) "
        "SELECT l.id, f.happened_at, f.kg, f.id FROM milk_vatfill AS f "
        "JOIN milk_vat AS v ON v.id = f.vat_id JOIN milk_milklot AS l ON l.id = v.remark::int"
    )
    look_at("milk_lotdraw")
    run(
        "INSERT INTO milk_vatlot (vat_id, lot_id, kg) "
        "SELECT f.vat_id, d.lot_id, d.kg - l.carried_kg / %(vats)s FROM milk_lotdraw AS d "
        "JOIN milk_vatfill AS f ON f.id = d.vat_fill_id JOIN milk_milklot AS l ON l.id = d.lot_id "
        "UNION ALL SELECT f.vat_id, p.parent_id, p.kg / %(vats)s FROM milk_lotdraw AS d "
        "JOIN milk_vatfill AS f ON f.id = d.vat_fill_id "
        "JOIN milk_lotparent AS p ON p.lot_id = d.lot_id",
        **values,
    )
    insert(
        Wheel,
        "plate, vat_id, twin, kg",
        "SELECT v.happened_at + interval '2 hours' AS at, lpad(v.id || t, 9, '0') AS plate, "
        "v.id AS vat_id, t AS twin, 47.5 AS kg "
        "FROM milk_vat AS v, unnest(ARRAY['A', 'B']) AS t",
        **values,
    )


def health(values: dict[str, Any]) -> None:
    """A cell count every 30 days for every animal; a course of some animals every day."""
    insert(
        Recording,
        "animal_id, cells, valid_to",
        "SELECT %(first)s + n * interval '30 days' AS at, a.id AS animal_id, "
        "80 + a.farm_number AS cells, "
        "CASE WHEN n < %(days)s / 30 THEN %(first)s + (n + 1) * interval '30 days' END AS valid_to "
        "FROM generate_series(0, %(days)s / 30) AS n CROSS JOIN herd_animal AS a",
        **values,
    )
    insert(
        Medicine,
        "name, unit",
        "SELECT %(first)s AS at, 'Udder tube' AS name, 'tube' AS unit",
        **values,
    )
    insert(
        Course,
        "animal_id, medicine_id, diagnosis, dose, doses",
        "SELECT %(first)s + d * interval '1 day' + interval '10 hours' AS at, a.id AS animal_id, "
        "m.id AS medicine_id, 'mastitis' AS diagnosis, 1 AS dose, 1 AS doses "
        "FROM herd_medicine AS m, generate_series(0, %(days)s - 1) AS d "
        "JOIN herd_animal AS a ON a.farm_number %% 25 = d %% 25",
        **values,
    )
    insert(
        WithdrawalPeriod,
        "animal_id, kind, course_id, source, during, why",
        "SELECT animal_id, 'course' AS kind, id AS course_id, uuid AS source, 'tube, 84 h' AS why, "
        "tstzrange(happened_at, happened_at + interval '84 hours') AS during FROM herd_course",
    )

"""The tables of a trace in SQLite, where they come from, and their indexes."""


def us(column: str) -> str:
    """A moment as whole microseconds; one that never comes is unknown."""
    return f"CASE WHEN isfinite({column}) THEN (extract(epoch from {column}) * 1000000)::int8 END"


def step(table: str, more: str = "") -> str:
    return (
        f"SELECT id, wheel_id, {us('happened_at')}, {us('written_at')}{more} FROM {table} "
        "WHERE struck_at IS NULL"
    )


STEP = "id INTEGER PRIMARY KEY, wheel INTEGER, at moment, written INTEGER"
# Name of the table, columns, and where they come from.
TABLES: dict[str, tuple[str, str]] = {
    "rule": (
        "id INTEGER PRIMARY KEY, name TEXT, value REAL, valid_from TEXT",
        "SELECT id, name, value, valid_from FROM herd_periodrule WHERE struck_at IS NULL",
    ),
    "wheel": (
        "id INTEGER PRIMARY KEY, uuid uuid, plate TEXT, twin TEXT, kg REAL, vat INTEGER",
        "SELECT id, uuid, plate, twin, kg, vat_id FROM milk_wheel WHERE struck_at IS NULL",
    ),
    "tank": ("id INTEGER PRIMARY KEY, name TEXT", "SELECT id, name FROM milk_tank"),
    "lot": (
        "id INTEGER PRIMARY KEY, uuid uuid, code TEXT, tank INTEGER, day day, session TEXT, "
        "opened moment, closed moment, ended moment, kg REAL, carried REAL, drawn REAL, void flag, "
        "delivery INTEGER",
        f"SELECT id, uuid, code, tank_id, day, session, {us('opened_at')}, {us('closed_at')}, "
        f"{us('ended_at')}, kg, carried_kg, drawn_kg, void::int, delivery_id FROM milk_milklot",
    ),
    "lotparent": (
        "lot INTEGER, parent INTEGER, kg REAL",
        "SELECT lot_id, parent_id, kg FROM milk_lotparent",
    ),
    "vatlot": (
        "vat INTEGER, lot INTEGER, kg REAL",
        "SELECT vat_id, lot_id, kg FROM milk_vatlot",
    ),
    "part": (
        "lot INTEGER, milking INTEGER, kg REAL",
        "SELECT lot_id, milking_id, kg FROM milk_milkingpart",
    ),
    "milking": (
        "id INTEGER PRIMARY KEY, uuid uuid, herd INTEGER, began moment, day day, session TEXT, "
        "metered flag, tank INTEGER",
        f"SELECT id, uuid, group_id, {us('happened_at')}, day, session, metered::int, tank_id "
        "FROM milk_milking WHERE struck_at IS NULL",
    ),
    "herd": ("id INTEGER PRIMARY KEY, number INTEGER", "SELECT id, number FROM herd_group"),
    "cow": (
        "animal INTEGER, milking INTEGER, lot INTEGER, grams INTEGER, goes INTEGER, at_s INTEGER",
        "SELECT animal_id, milking_id, lot_id, grams, goes, at_s FROM milk_cowmilking",
    ),
    "stay": (
        "id INTEGER PRIMARY KEY, animal INTEGER, herd INTEGER, since INTEGER, until INTEGER",
        f"SELECT id, animal_id, group_id, {us('lower(during)')}, {us('upper(during)')} "
        "FROM herd_groupstay WHERE struck_at IS NULL",
    ),
    "recording": (
        "animal INTEGER, began moment, valid_to moment, cells REAL",
        f"SELECT animal_id, {us('happened_at')}, {us('valid_to')}, cells FROM herd_recording "
        "WHERE struck_at IS NULL AND cells IS NOT NULL",
    ),
    "period": (
        "id INTEGER PRIMARY KEY, animal INTEGER, since moment, until moment, kind TEXT, why TEXT, "
        "source uuid, course INTEGER",
        f"SELECT id, animal_id, {us('lower(during)')}, {us('upper(during)')}, kind, why, source, "
        "course_id FROM herd_withdrawalperiod WHERE NOT isempty(during)",
    ),
    "feeding": (
        "id INTEGER PRIMARY KEY, herd INTEGER, began moment, kg REAL, weighed flag, batch INTEGER, "
        "feedlot INTEGER",
        f"SELECT id, group_id, {us('happened_at')}, kg, weighed::int, batch_id, feed_lot_id "
        "FROM feed_feeding WHERE struck_at IS NULL",
    ),
    "batch": (
        "id INTEGER PRIMARY KEY, uuid uuid, field INTEGER, began moment, deadline moment, "
        "done moment",
        f"SELECT id, uuid, field_id, {us('happened_at')}, {us('deadline')}, {us('done_at')} "
        "FROM feed_foragebatch WHERE struck_at IS NULL",
    ),
    "feedlot": (
        "id INTEGER PRIMARY KEY, kind TEXT, uuid uuid, name TEXT, supplier INTEGER, field INTEGER, "
        "began moment",
        f"SELECT id, kind, uuid, name, supplier_id, field_id, {us('happened_at')} "
        "FROM feed_feedlot WHERE struck_at IS NULL",
    ),
    "field": ("id INTEGER PRIMARY KEY, name TEXT", "SELECT id, name FROM feed_field"),
    "holding": ("id INTEGER PRIMARY KEY, name TEXT", "SELECT id, name FROM herd_holding"),
    "vat": (
        "id INTEGER PRIMARY KEY, uuid uuid, day day, number INTEGER, round INTEGER, began moment, "
        "starter INTEGER",
        f"SELECT id, uuid, day, number, round, {us('happened_at')}, starter_can_id FROM milk_vat "
        "WHERE struck_at IS NULL",
    ),
    "draw": (
        "lot INTEGER, at moment, kg REAL, tray INTEGER, event INTEGER, delivery INTEGER, "
        "fill INTEGER",
        f"SELECT lot_id, {us('at')}, kg, tray_id, tank_event_id, delivery_id, vat_fill_id "
        "FROM milk_lotdraw",
    ),
    "tray": (
        "id INTEGER PRIMARY KEY, uuid uuid, number INTEGER, cream REAL",
        "SELECT id, uuid, number, cream_kg FROM milk_tray",
    ),
    "tankevent": (
        "id INTEGER PRIMARY KEY, uuid uuid, what TEXT, tank INTEGER, to_tank INTEGER, remark TEXT, "
        "began INTEGER",
        f"SELECT id, uuid, what, tank_id, to_tank_id, remark, {us('happened_at')} "
        "FROM milk_tankevent WHERE struck_at IS NULL",
    ),
    "delivery": (
        "id INTEGER PRIMARY KEY, uuid uuid, holding INTEGER",
        "SELECT id, uuid, holding_id FROM milk_delivery",
    ),
    "vatfill": (
        "tray INTEGER, kg REAL",
        "SELECT tray_id, kg FROM milk_vatfill WHERE tray_id IS NOT NULL AND struck_at IS NULL",
    ),
    "startercan": (
        "id INTEGER PRIMARY KEY, can TEXT, from_vat INTEGER",
        "SELECT id, can, from_vat_id FROM milk_startercan WHERE struck_at IS NULL",
    ),
    "wheyadded": (
        "can INTEGER, vat INTEGER",
        "SELECT can_id, vat_id FROM milk_wheyadded WHERE struck_at IS NULL",
    ),
    "wrongcow": (
        "id INTEGER PRIMARY KEY, uuid uuid, herd INTEGER, began moment, tank INTEGER, "
        "animal INTEGER, kg REAL",
        f"SELECT id, uuid, group_id, {us('happened_at')}, tank_id, animal_id, kg "
        "FROM milk_wrongcow WHERE struck_at IS NULL AND animal_id IS NOT NULL",
    ),
    "brinestay": (f"{STEP}, bath TEXT, row TEXT", step("milk_brinestay", ", bath, row")),
    "brineout": (STEP, step("milk_brineout")),
    "storestay": (f"{STEP}, place INTEGER", step("milk_storestay", ", place_id")),
    "storegap": (f"{STEP}, place INTEGER", step("milk_storegap", ", place_id")),
    "dispatch": (f"{STEP}, buyer INTEGER", step("milk_dispatch", ", buyer_id")),
    "wheelreturn": (STEP, step("milk_wheelreturn")),
    "wheeldiscard": (STEP, step("milk_wheeldiscard")),
    "storeplace": (
        'id INTEGER PRIMARY KEY, room TEXT, aisle INTEGER, "column" INTEGER, shelf INTEGER',
        'SELECT id, room, aisle, "column", shelf FROM milk_storeplace',
    ),
    "hold": (
        "id INTEGER PRIMARY KEY, lot INTEGER, tank INTEGER, vat INTEGER, starter INTEGER, "
        "wheel INTEGER, began INTEGER",
        "SELECT id, lot_id, tank_id, vat_id, starter_can_id, wheel_id, "
        f"{us('happened_at')} FROM milk_hold WHERE struck_at IS NULL",
    ),
    "holditem": (
        "hold INTEGER, lot INTEGER",
        "SELECT hold_id, lot_id FROM milk_holditem WHERE gone_at IS NULL",
    ),
}
INDEXES = (
    "wheel (vat, twin)", "lot (tank, opened)", "lotparent (lot, parent, kg)",
    "lotparent (parent, lot, kg)", "vatlot (vat, lot, kg)", "vatlot (lot, vat, kg)",
    "part (lot, milking, kg)", "part (milking, lot, kg)", "milking (herd, began, id)",
    "cow (lot, animal, milking, grams)", "cow (animal, milking)", "cow (milking, lot)",
    "stay (animal, since, until, herd)",
    "recording (began, animal, valid_to, cells)", "recording (animal, began, valid_to, cells)",
    "period (animal)", "feeding (herd, began)",
    "feeding (batch, began)", "feeding (feedlot) WHERE feedlot IS NOT NULL",
    "batch (done, deadline)", "vat (starter)",
    "draw (lot, fill, kg)", "draw (tray, kg)", "tankevent (tank, began)", "vatfill (tray, kg)",
    "startercan (from_vat)", "wheyadded (vat)", "wrongcow (tank, began)", "rule (name, valid_from)",
    "brinestay (wheel)", "brineout (wheel)", "storestay (wheel)", "storegap (wheel)",
    "dispatch (wheel)", "wheelreturn (wheel)", "wheeldiscard (wheel)", "hold (lot)", "hold (tank)",
    "hold (vat)", "hold (starter)", "hold (wheel)", "holditem (lot)",
)  # fmt: skip

# In place of PostgreSQL's index over spans: whole seconds, which the query looks at again.
SPANS = (
    "CREATE VIRTUAL TABLE stood USING rtree_i32 (id, herd, herds, since, until)",
    f"""INSERT INTO stood SELECT id, herd, herd, max(since / 1000000 - 1, 0),
    CASE WHEN until IS NULL THEN {2**31 - 1} ELSE until / 1000000 + 1 END
    FROM stay WHERE herd IS NOT NULL""",
    "CREATE VIRTUAL TABLE withheld USING rtree_i32 (id, since, until)",
    f"""INSERT INTO withheld SELECT id, COALESCE(max(since / 1000000 - 1, 0), 0),
    CASE WHEN until IS NULL THEN {2**31 - 1} ELSE until / 1000000 + 1 END FROM period""",
)

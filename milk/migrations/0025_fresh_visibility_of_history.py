"""Have the server look at what was added to the history after a few days, not after years.

A table is tended after a fifth of it is new, which in a book of ten years is two years of milk. Till
then a read by index goes to the table for every row, a hundred times the pages, and the planner
knows nothing of the days people ask about.
"""

from django.db import migrations

from config.at_once import AtOnce

# Rows after which it is tended, about a week or two of an estate of two thousand cows.
TABLES = {
    "milk_cowmilking": 50_000,
    "milk_milking": 500,
    "milk_milkingpart": 500,
    "milk_milklot": 200,
    "milk_lotparent": 200,
    "milk_lotdraw": 1_000,
    "milk_vatlot": 1_000,
    "milk_wheel": 1_000,
    "herd_recording": 2_000,
    "herd_groupstay": 500,
    "herd_withdrawalperiod": 200,
    "feed_feeding": 1_000,
}
NAMES = (
    "autovacuum_vacuum_insert_scale_factor",
    "autovacuum_vacuum_insert_threshold",
    "autovacuum_analyze_scale_factor",
    "autovacuum_analyze_threshold",
)


def tended(table: str, rows: int) -> migrations.RunSQL:
    values = (0, rows, 0, rows)
    settings = ", ".join(f"{name} = {value}" for name, value in zip(NAMES, values, strict=True))
    return migrations.RunSQL(
        f"ALTER TABLE {table} SET ({settings})", f"ALTER TABLE {table} RESET ({', '.join(NAMES)})"
    )


class Migration(AtOnce):
    dependencies = [
        ("milk", "0024_meter_rows_sealed"),
        ("herd", "0008_links_of_wall_screens"),
        ("feed", "0002_weather_figures_and_answers"),
    ]
    operations = [tended(table, rows) for table, rows in TABLES.items()]

from django.db import migrations, models

from config.at_once import AtOnce

# What was called unfit is a withdrawal period like the others from here on; rebuilt with them.
FILL = """
    INSERT INTO herd_withdrawalperiod
        (animal_id, kind, source, during, meat_open, why)
    SELECT animal_id, 'health', uuid,
        CASE WHEN settled <= happened_at THEN 'empty'::tstzrange
            ELSE tstzrange(happened_at, settled) END,
        false, left(sign || ', called unfit', 240)
    FROM (
        SELECT e.animal_id, e.uuid, e.sign, e.happened_at, (
            SELECT min(s.happened_at) FROM herd_healthevent AS s
            WHERE s.settles_id = e.id AND s.struck_at IS NULL) AS settled
        FROM herd_healthevent AS e WHERE e.unfit AND e.struck_at IS NULL) AS called
    ON CONFLICT DO NOTHING
"""
EMPTY = "DELETE FROM herd_withdrawalperiod WHERE kind = 'health'"


class Migration(AtOnce):
    dependencies = [
        ("herd", "0002_plans_bands_and_calves"),
    ]

    operations = [
        migrations.AlterField(
            model_name="doseanswer",
            name="says",
            field=models.CharField(
                choices=[
                    ("one", "one dose, written twice"),
                    ("two", "two doses were given"),
                    ("before", "before the clocks went back"),
                    ("after", "after the clocks went back"),
                    ("fits", "at the right time for the leaflet"),
                ],
                max_length=6,
                verbose_name="answer",
            ),
        ),
        migrations.RunSQL(FILL, EMPTY),
    ]

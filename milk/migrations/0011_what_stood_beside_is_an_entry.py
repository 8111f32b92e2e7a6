"""Moments of vats, cream of trays and weights of wheels become entries of their own."""

from django.db import migrations

from config.at_once import AtOnce

# The stamp of the entry they stood in; who wrote that, wrote this.
STAMP = "happened_at, written_at, received_at, zone_offset, by_id, device, upload_id"
AGAIN = """
    gen_random_uuid(), {at}, o.written_at, o.received_at, o.zone_offset, o.by_id, o.device,
    o.upload_id, '', ''
"""
MARKS = """
    INSERT INTO milk_vatmark
        (uuid, {stamp}, struck_reason, struck_words, vat_id, what, remark)
    SELECT {again}, o.id, m.what, ''
    FROM milk_vat AS o CROSS JOIN LATERAL (VALUES
        ('set', o.set_at), ('cut', o.cut_at), ('heated', o.heated_at), ('lifted', o.lifted_at)
    ) AS m (what, at)
    WHERE o.struck_at IS NULL AND m.at IS NOT NULL
"""
CREAM = """
    INSERT INTO milk_skimming
        (uuid, {stamp}, struck_reason, struck_words, tray_id, cream_kg, smell, set_aside, remark)
    SELECT {again}, o.id, o.cream_kg, '', false, ''
    FROM milk_tray AS o WHERE o.struck_at IS NULL AND o.cream_kg IS NOT NULL
"""
WEIGHTS = """
    INSERT INTO milk_wheelweight
        (uuid, {stamp}, struck_reason, struck_words, wheel_id, kg)
    SELECT {again}, o.id, o.kg
    FROM milk_wheel AS o WHERE o.struck_at IS NULL AND o.kg IS NOT NULL
"""


def statement(text, at):
    return text.format(stamp=STAMP, again=AGAIN.format(at=at))


class Migration(AtOnce):
    dependencies = [("milk", "0010_marks_skimmings_plates_and_recipes")]

    operations = [
        migrations.RunSQL(statement(MARKS, "m.at"), migrations.RunSQL.noop),
        migrations.RunSQL(statement(CREAM, "o.happened_at"), migrations.RunSQL.noop),
        migrations.RunSQL(statement(WEIGHTS, "o.happened_at"), migrations.RunSQL.noop),
    ]

"""The statements of what is held; arrays only, so that the planner stays on the indexes."""

# Lots given and of vats, and the edges above them; LATERAL with OFFSET keeps a probe a probe.
_UP = """
    WITH RECURSIVE of_vats(lots) AS (
        SELECT %(lots)s::int4[] || ARRAY(
            SELECT lot_id FROM milk_vatlot WHERE vat_id = ANY(%(vats)s::int4[]))
    ), up(lot_id, parent_id) AS (
        SELECT lot_id, parent_id FROM milk_lotparent
        WHERE lot_id = ANY((SELECT lots FROM of_vats)::int4[])
        UNION
        SELECT edge.lot_id, edge.parent_id FROM up CROSS JOIN LATERAL (
            SELECT p.lot_id, p.parent_id FROM milk_lotparent AS p
            WHERE p.lot_id = up.parent_id OFFSET 0
        ) AS edge
    )
"""
VATS_OF_WHEELS = "SELECT id, vat_id FROM milk_wheel WHERE id = ANY(%(wheels)s::int4[])"
LOTS_OF_VATS = "SELECT vat_id, lot_id FROM milk_vatlot WHERE vat_id = ANY(%(vats)s::int4[])"
_LOTS = "(SELECT lots || ARRAY(SELECT parent_id FROM up) FROM of_vats)::int4[]"
# Where a hold can name what is asked about or anything above it, of a lot its code and when it
# opened; one statement, arrays only. Most answers are empty, and nothing more need be read then.
NAMED = f"""{_UP}
    SELECT n.*, l.code, l.opened_at FROM (
    SELECT hold_id AS hold, 'lot' AS thing, lot_id AS number, 'named' AS way
    FROM milk_holditem WHERE lot_id = ANY({_LOTS}) AND gone_at IS NULL
    UNION SELECT id, 'lot', lot_id, 'named' FROM milk_hold
    WHERE lot_id = ANY({_LOTS}) AND struck_at IS NULL
    UNION SELECT h.id, 'lot', l.id, 'tank'
    FROM milk_milklot AS l JOIN milk_hold AS h ON h.tank_id = l.tank_id
    WHERE l.id = ANY({_LOTS}) AND h.struck_at IS NULL
      AND (l.ended_at IS NULL OR l.ended_at > h.happened_at)
    UNION SELECT id, 'vat', vat_id, 'named' FROM milk_hold
    WHERE vat_id = ANY(%(vats)s::int4[]) AND struck_at IS NULL
    UNION SELECT h.id, 'vat', v.id, 'starter'
    FROM milk_vat AS v JOIN milk_hold AS h ON h.starter_can_id = v.starter_can_id
    WHERE v.id = ANY(%(vats)s::int4[]) AND h.struck_at IS NULL
    UNION SELECT id, 'wheel', wheel_id, 'named' FROM milk_hold
    WHERE wheel_id = ANY(%(wheels)s::int4[]) AND struck_at IS NULL
    ) AS n LEFT JOIN milk_milklot AS l ON n.thing = 'lot' AND l.id = n.number
"""

"""Shares of the grades by what the wheels have in common, and which groups stand out. Reads only.

Two statements, after the rules of the grades: the last grade of every wheel of a range of days,
counted by vat; then the vats by what they have in common. What makes a group stand out is in
``milk.chance``.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from django.db import connection
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.language import in_readers_form
from milk.chance import Bounds, Counted, Verdict, judged
from milk.grades import grade_rules_on
from milk.models import Grade, MilkFigure

# More rows make a page nobody reads; what stands out comes first, then what comes nearest to it.
SHOWN = 40

_VATS = """
SELECT vat.id,
    count(*)::int,
    count(*) FILTER (WHERE seen.grade = ANY(%(seconds)s))::int,
    count(*) FILTER (WHERE seen.grade = ANY(%(downs)s))::int
FROM milk_vat AS vat
JOIN milk_wheel AS wheel ON wheel.vat_id = vat.id AND wheel.struck_at IS NULL
CROSS JOIN LATERAL (
    SELECT looked.grade FROM milk_inspection AS looked
    WHERE looked.wheel_id = wheel.id AND looked.struck_at IS NULL
    ORDER BY looked.happened_at DESC, looked.id DESC LIMIT 1) AS seen
WHERE vat.struck_at IS NULL AND vat.day BETWEEN %(since)s AND %(until)s
GROUP BY vat.id
"""
_GROUPED = """
WITH graded AS (
    SELECT * FROM unnest(%(vats)s::int4[], %(wheels)s::int4[], %(seconds)s::int4[],
                         %(downs)s::int4[]) AS g (vat_id, wheels, seconds, downs)
), common AS ({common})
SELECT common.name, sum(graded.wheels)::int, sum(graded.seconds)::int, sum(graded.downs)::int,
    count(*)::int, count(*) FILTER (WHERE graded.seconds + graded.downs > 0)::int
FROM common JOIN graded ON graded.vat_id = common.vat_id
GROUP BY common.name
"""
_OF_VAT = """SELECT vat.id AS vat_id, {name} AS name
    FROM milk_vat AS vat WHERE vat.id = ANY(%(vats)s::int4[]) AND {known}"""
_OF_LOT = """SELECT DISTINCT used.vat_id, {name} AS name
    FROM milk_vatlot AS used JOIN milk_milklot AS lot ON lot.id = used.lot_id {more}
    WHERE used.vat_id = ANY(%(vats)s::int4[])"""
_FIELDS = """
    WITH lots AS (
        SELECT DISTINCT used.lot_id FROM milk_vatlot AS used
        WHERE used.vat_id = ANY(%(vats)s::int4[])
    ), fed AS (
        SELECT DISTINCT lots.lot_id, batch.field_id
        FROM lots
        JOIN milk_milkingpart AS part ON part.lot_id = lots.lot_id
        JOIN milk_milking AS milking ON milking.id = part.milking_id
        CROSS JOIN LATERAL (
            SELECT DISTINCT batch_id FROM feed_feeding
            WHERE struck_at IS NULL AND group_id = milking.group_id AND batch_id IS NOT NULL
              AND happened_at BETWEEN milking.happened_at - %(before)s AND milking.happened_at
            OFFSET 0) AS feeding
        JOIN feed_foragebatch AS batch ON batch.id = feeding.batch_id
    )
    SELECT DISTINCT used.vat_id, field.name AS name
    FROM milk_vatlot AS used JOIN fed ON fed.lot_id = used.lot_id
    JOIN feed_field AS field ON field.id = fed.field_id
    WHERE used.vat_id = ANY(%(vats)s::int4[])"""


class By(StrEnum):
    """What wheels may have in common."""

    DAY = "day"
    LOT = "lot"
    TANK = "tank"
    GROUP = "group"
    FIELD = "field"
    MAKER = "maker"
    STARTER = "starter"
    RENNET = "rennet"


NAMES = {
    By.DAY: N_("vat day"),
    By.LOT: N_("milk lot"),
    By.TANK: N_("tank"),
    By.GROUP: N_("group milked"),
    By.FIELD: N_("field fed from"),
    By.MAKER: N_("cheesemaker"),
    By.STARTER: N_("starter can"),
    By.RENNET: N_("rennet batch"),
}
_COMMON = {
    By.DAY: _OF_VAT.format(name="vat.day::text", known="true"),
    By.LOT: _OF_LOT.format(name="lot.code", more=""),
    By.TANK: _OF_LOT.format(
        name="%(tank)s || tank.name", more="JOIN milk_tank AS tank ON tank.id = lot.tank_id"
    ),
    By.GROUP: _OF_LOT.format(
        name="%(group)s || herd.number",
        more="JOIN milk_milkingpart AS part ON part.lot_id = lot.id "
        "JOIN milk_milking AS milking ON milking.id = part.milking_id "
        "JOIN herd_group AS herd ON herd.id = milking.group_id",
    ),
    By.FIELD: _FIELDS,
    By.MAKER: _OF_VAT.format(
        name="(SELECT COALESCE(NULLIF(trim(who.first_name || ' ' || who.last_name), ''), "
        "who.username) FROM auth_user AS who WHERE who.id = vat.by_id)",
        known="true",
    ),
    By.STARTER: _OF_VAT.format(
        name="(SELECT %(can)s || can.can || ', ' || (can.happened_at AT TIME ZONE %(zone)s)::date "
        "FROM milk_startercan AS can WHERE can.id = vat.starter_can_id)",
        known="vat.starter_can_id IS NOT NULL",
    ),
    By.RENNET: _OF_VAT.format(name="vat.rennet_batch", known="vat.rennet_batch <> ''"),
}


@dataclass(frozen=True)
class Share:
    """One group: its wheels, how many are second and downgraded, and whether it stands out."""

    name: str
    wheels: int
    seconds: int
    downgraded: int
    verdict: Verdict | None

    @property
    def first(self) -> int:
        return self.wheels - self.seconds - self.downgraded

    def per_cent(self, number: int) -> float:
        return 100 * number / self.wheels if self.wheels else 0.0

    @property
    def first_said(self) -> str:
        return in_readers_form(f"{self.per_cent(self.first):.1f}")

    @property
    def seconds_said(self) -> str:
        return in_readers_form(f"{self.per_cent(self.seconds):.1f}")

    @property
    def downgraded_said(self) -> str:
        return in_readers_form(f"{self.per_cent(self.downgraded):.1f}")


@dataclass(frozen=True)
class Twins:
    """Vats with both wheels graded: both first, both worse, or one of each."""

    both_first: int
    both_worse: int
    apart: int


@dataclass(frozen=True)
class Shares:
    """The whole house, its twins, and the groups; ``judges``: whether the bounds are set."""

    by: By
    since: date
    until: date
    house: Share
    twins: Twins
    groups: list[Share]
    judges: bool

    @property
    def named(self) -> list[Share]:
        """The groups that stand out, the clearest first."""
        return [one for one in self.groups if one.verdict and one.verdict.named]


def grade_shares(
    by: By,
    since: date,
    until: date,
    *,
    today: date,
    zone: str,
    figures: dict[str, MilkFigure],
    fed_before: timedelta,
) -> Shares:
    """The shares of wheels made in a range of days, by their last grades. Three statements."""
    range_ = {"since": since, "until": until}
    rows = fetch(_VATS, {**range_, **codes_on(today)})
    columns: list[list[int]] = [list(column) for column in zip(*rows, strict=True)] or [[]] * 4
    vats, wheels, seconds, downs = columns
    values = {"vats": vats, "wheels": wheels, "seconds": seconds, "downs": downs}
    groups = fetch(
        _GROUPED.format(common=_COMMON[by]),
        {**values, **words(), "zone": zone, "before": fed_before},
    )
    house = Share(_("all wheels"), sum(wheels), sum(seconds), sum(downs), None)
    bad_vats = sum(second + down > 0 for second, down in zip(seconds, downs, strict=True))
    whole = Counted(house.wheels, house.seconds + house.downgraded, len(vats), bad_vats)
    counted = {row[0]: Counted(row[1], row[2] + row[3], row[4], row[5]) for row in groups}
    bounds = bounds_of(figures)
    verdicts = judged(counted, whole, bounds) if bounds else {}
    shares = [Share(row[0], row[1], row[2], row[3], verdicts.get(row[0])) for row in groups]
    return Shares(
        by, since, until, house, twins_of(rows), sorted(shares, key=order), bounds is not None
    )


def words() -> dict[str, str]:
    """What stands before the name of a tank, a group and a can, in the reader's language."""
    return {name: f"{_(name)} " for name in (N_("tank"), N_("group"), N_("can"))}


def codes_on(day: date) -> dict[str, list[str]]:
    """The grades that count as second and as downgraded, by the rules of a day."""
    rules = grade_rules_on(day)
    counts = {code: rules[code].counts_as if code in rules else code for code in Grade.values}
    return {
        "seconds": [code for code, share in counts.items() if share == Grade.SECOND],
        "downs": [code for code, share in counts.items() if share == Grade.DOWNGRADED],
    }


def order(share: Share) -> tuple[float, int, str]:
    """Those that stand out most first; without bounds the worst first."""
    chance = share.verdict.p if share.verdict else share.per_cent(share.first) / 100
    return (chance, -share.wheels, share.name)


def twins_of(rows: list[Any]) -> Twins:
    """How the wheels of vats with two graded wheels agree."""
    worse = [second + down for _, wheels, second, down in rows if wheels == 2]
    return Twins(worse.count(0), worse.count(2), worse.count(1))


def bounds_of(figures: dict[str, MilkFigure]) -> Bounds | None:
    """The dated bounds; None when one of them is not set."""
    what = MilkFigure.What
    names = (what.FLAG_CHANCE, what.FLAG_TIMES, what.FLAG_WHEELS, what.FLAG_CHANCE_2)
    found = [figures.get(name) for name in names]
    chance, times, wheels, chance_2 = (row.value if row else None for row in found)
    if chance is None or times is None or wheels is None or chance_2 is None:
        return None
    return Bounds(chance=chance, times=times, wheels=int(wheels), chance_2=chance_2)


def fetch(statement: str, values: dict[str, Any]) -> list[Any]:
    """The rows of one statement."""
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return list(cursor.fetchall())

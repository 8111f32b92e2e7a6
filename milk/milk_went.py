"""Where withheld milk went, by the milkings and by what was written of it, for the medicine book.

Asked with the spans as arrays: the number of statements does not grow with the lines of a book.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.days import estate_zone
from config.language import in_readers_form
from herd.milk_went import Span, Went, register
from milk.models import CowMilking, Tank, WithheldMilk
from milk.nouns import counted
from milk.withheld_milk import LONGEST_MILKING, fetch

SPANS = (
    "unnest(%s::int[], %s::int[], %s::timestamptz[], %s::timestamptz[])"
    " AS s (place, animal, since, until)"
)
# OFFSET 0 keeps the look-up by both parts of the key: a cow has thousands of rows in her life.
METERED = f"""
    SELECT s.place, m.day, m.session, t.name, t.use, c.goes, c.grams
    FROM {SPANS}
    CROSS JOIN LATERAL (
        SELECT min(id) AS first, max(id) AS last FROM milk_milking
        WHERE happened_at >= s.since - %s AND happened_at < s.until) AS r
    CROSS JOIN LATERAL (
        SELECT milking_id, goes, grams, at_s FROM milk_cowmilking
        WHERE animal_id = s.animal AND milking_id BETWEEN r.first AND r.last
        OFFSET 0) AS c
    JOIN milk_milking AS m ON m.id = c.milking_id AND m.struck_at IS NULL
    LEFT JOIN milk_tank AS t ON t.id = m.tank_id
    WHERE m.happened_at + make_interval(secs => coalesce(c.at_s, 0)) >= s.since
      AND m.happened_at + make_interval(secs => coalesce(c.at_s, 0)) < s.until
"""
# Without meters: the milkings of the group she stood in.
UNMETERED = f"""
    SELECT s.place, m.day, m.session, t.name, t.use
    FROM {SPANS}
    JOIN herd_groupstay AS g ON g.animal_id = s.animal AND g.struck_at IS NULL
      AND g.during && tstzrange(s.since, s.until)
    JOIN milk_milking AS m ON m.group_id = g.group_id AND m.struck_at IS NULL AND NOT m.metered
      AND m.happened_at >= s.since AND m.happened_at < s.until AND g.during @> m.happened_at
    LEFT JOIN milk_tank AS t ON t.id = m.tank_id
"""
WRITTEN = f"""
    SELECT s.place, w.day, w.session, w.went, w.kg, w.animal_id IS NULL, w.paper
    FROM {SPANS}
    JOIN milk_withheldmilk AS w ON w.happened_at >= s.since AND w.happened_at < s.until + %s
    WHERE w.day BETWEEN (s.since AT TIME ZONE %s)::date AND (s.until AT TIME ZONE %s)::date
      AND (w.animal_id = s.animal OR w.animal_id IS NULL AND EXISTS (
        SELECT 1 FROM herd_groupstay AS g WHERE g.animal_id = s.animal AND g.struck_at IS NULL
          AND g.group_id = w.group_id AND g.during @> w.happened_at))
      AND w.received_at <= coalesce(%s, 'infinity'::timestamptz)
      AND (w.struck_at IS NULL OR w.struck_at > %s)
    ORDER BY s.place, w.happened_at, w.id
"""
# It may be written some time after the milking.
WRITTEN_LATER = timedelta(hours=12)
KEPT_OUT = N_("kept out, where to is not written,")
Milking = tuple[date, str]
# Place of the span, animal, since, until.
Arrays = tuple[list[int], list[int], list[datetime], list[datetime]]


@dataclass
class Share:
    """Milk that went one way: at which milkings, and how much where it was weighed."""

    milkings: set[Milking] = field(default_factory=set)
    kg: Decimal = Decimal(0)

    def take(self, milking: Milking, kg: Decimal | None) -> None:
        self.milkings.add(milking)
        self.kg += kg or Decimal(0)

    def words(self, name: str) -> str:
        count = len(self.milkings)
        weighed = f", {in_readers_form(f'{self.kg:.1f}')} kg" if self.kg else ""
        milkings = counted(count, "milking")
        return _("{name} at {milkings}{weighed}").format(
            name=name, milkings=milkings, weighed=weighed
        )


# Where it went in words -> how much; the bool: into a tank whose milk is used.
Shares = dict[tuple[str, bool], Share]


def where_it_went(spans: Sequence[Span], known_at: datetime | None) -> dict[UUID, Went]:
    """What became of the milk of each span.

    As known at a moment of the past only what was written of it is told: milkings are computed
    again when something is put right, and a paper of then must stay the same.
    """
    arrays: Arrays = (
        list(range(len(spans))),
        [span.animal for span in spans],
        [span.since for span in spans],
        [span.until for span in spans],
    )
    found: dict[int, Shares] = defaultdict(lambda: defaultdict(Share))
    kept = written(arrays, known_at, found)
    if known_at is None:
        by_milkings(arrays, kept, found)
    return {spans[place].source: told(shares) for place, shares in found.items()}


def written(
    arrays: Arrays, known_at: datetime | None, found: dict[int, Shares]
) -> set[tuple[int, date, str]]:
    """Take what was written of withheld milk; the milkings at which her own was written of."""
    zone, own = str(estate_zone()), set()
    rows = fetch(WRITTEN, *arrays, WRITTEN_LATER, zone, zone, known_at, known_at)
    for place, day, session, went, kg, of_group, paper in rows:
        name = str(WithheldMilk.Went(went).label)
        if paper:
            name = f"{name} ({paper})"
        if of_group:
            # Hers was among it; how much of it was hers nobody wrote.
            found[place][_("with others of her group: {name}").format(name=name), False].take(
                (day, session), None
            )
        else:
            found[place][name, False].take((day, session), kg)
            own.add((place, day, session))
    return own


def by_milkings(arrays: Arrays, own: set[tuple[int, date, str]], found: dict[int, Shares]) -> None:
    """Take what the milkings say; what was written of her milk already is not told twice."""
    read = set()
    for place, day, session, tank, use, goes, grams in fetch(METERED, *arrays, LONGEST_MILKING):
        read.add((place, day, session))
        kg = None if grams is None else Decimal(grams) / 1000
        if goes == CowMilking.Goes.KEPT_OUT:
            if (place, day, session) not in own:
                found[place][_(KEPT_OUT), False].take((day, session), kg)
        else:
            found[place][way_of(tank, use)].take((day, session), kg)
    for place, day, session, tank, use in fetch(UNMETERED, *arrays):
        if (place, day, session) not in own | read:
            found[place][way_of(tank, use)].take((day, session), None)


def way_of(tank: str | None, use: str | None) -> tuple[str, bool]:
    """A tank in words, and whether its milk is used; of one nobody wrote it may be."""
    if tank is None or use is None:
        return _("INTO A TANK that is not written"), True
    if use == Tank.Use.RECEIVING:
        return _("INTO TANK {tank}").format(tank=tank), True
    return _("tank {tank} ({label})").format(tank=tank, label=Tank.Use(use).label), False


def told(shares: Shares) -> Went:
    """What is amiss first, then the ways in the order they were found."""
    ordered = sorted(shares.items(), key=lambda item: not item[0][1])
    return Went(
        "; ".join(share.words(name) for (name, _), share in ordered),
        any(into_tank for _, into_tank in shares),
    )


register(where_it_went)

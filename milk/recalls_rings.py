"""Wheels beside a recall, told apart and not called back: those that only shared the brine.

Salt goes round in a bath, and so does what is on a rind; but no milk does. Whether such a wheel is
in doubt depends on what is looked for, and people decide that. Reads only.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NamedTuple
from uuid import UUID

from django.utils.translation import gettext as _

from config.days import local_day
from config.templatetags.sheet import amount
from milk.trace_sql import Reader

# Wheels lie in brine for two to four weeks. One put in longer before than this, and taken out by
# now, is not looked for.
LONGEST = timedelta(days=90)
# When a stay in brine was over: taken out, moved to another row, or laid in store without a word.
_GONE = """LEAST(
    (SELECT min(o.happened_at) FROM milk_brineout AS o
     WHERE o.stay_id = s.id AND o.struck_at IS NULL),
    (SELECT min(n.happened_at) FROM milk_brinestay AS n
     WHERE n.wheel_id = s.wheel_id AND n.happened_at > s.happened_at AND n.struck_at IS NULL),
    (SELECT min(l.happened_at) FROM milk_storestay AS l
     WHERE l.wheel_id = s.wheel_id AND l.happened_at > s.happened_at AND l.struck_at IS NULL))"""
SALTED = f"""
SELECT s.bath, s.happened_at, {_GONE} FROM milk_brinestay AS s
WHERE s.wheel_id = ANY(%(wheels)s::int4[]) AND s.struck_at IS NULL AND s.happened_at <= %(at)s
ORDER BY s.bath, s.happened_at, s.id
"""
# Who lay there at some moment of a span: put in during it, or before and not gone by then.
BESIDE = f"""
SELECT span.number, w.id, w.uuid, w.plate
FROM unnest(%(baths)s::text[], %(since)s::timestamptz[], %(until)s::timestamptz[])
     WITH ORDINALITY AS span(bath, since, until, number)
CROSS JOIN LATERAL (
    SELECT DISTINCT s.wheel_id FROM milk_brinestay AS s
    WHERE s.bath = span.bath AND s.struck_at IS NULL AND s.happened_at <= span.until
      AND s.happened_at > span.since - %(longest)s::interval
      AND (s.happened_at >= span.since OR COALESCE({_GONE}, 'infinity') > span.since)
    OFFSET 0) AS lay
JOIN milk_wheel AS w ON w.id = lay.wheel_id AND w.struck_at IS NULL
WHERE NOT w.id = ANY(%(wheels)s::int4[])
ORDER BY span.number, w.plate
"""


class Beside(NamedTuple):
    """A wheel that lay in the same bath."""

    pk: int
    uuid: UUID
    plate: str


@dataclass(frozen=True)
class BrineRing:
    """A bath while wheels of a recall lay in it, and the other wheels that lay there too.

    ``until``: when the last of the recall's wheels was out, or the moment of asking.
    """

    bath: str
    since: datetime
    until: datetime
    wheels: list[Beside]

    @property
    def name(self) -> str:
        """“bath 2, 2026-06-01 to 2026-06-20: 310 wheels, 0003001 to 0003310”."""
        number, first, last = len(self.wheels), self.wheels[0].plate, self.wheels[-1].plate
        said = (
            _("{number} wheels, {first} to {last}").format(
                number=amount(number), first=first, last=last
            )
            if number > 1
            else _("wheel {first}").format(first=first)
        )
        return _("bath {bath}, {since} to {until}: {said}").format(
            bath=self.bath, since=local_day(self.since), until=local_day(self.until), said=said
        )

    @property
    def runs(self) -> str:
        """Its plates in order, those that count up taken together."""
        return runs_of([wheel.plate for wheel in self.wheels])


class Soak(NamedTuple):
    """A span in which wheels lay in a bath."""

    bath: str
    since: datetime
    until: datetime


def brine_rings(wheels: Collection[int], at: datetime) -> list[BrineRing]:
    """The other wheels of every bath these (keys) lay in by ``at``, bath by bath. Two statements.

    A wheel that shared two baths, or a bath twice, is told each time.
    """
    if not wheels:
        return []
    reader, numbers = Reader(), sorted(wheels)
    spans = merged([Soak(*row) for row in soaks(reader, numbers, at)])
    if not spans:
        return []
    beside: dict[int, list[Beside]] = defaultdict(list)
    for number, *wheel in reader.rows(
        BESIDE,
        baths=[span.bath for span in spans],
        since=[span.since for span in spans],
        until=[span.until for span in spans],
        longest=LONGEST,
        wheels=numbers,
    ):
        beside[number].append(Beside(*wheel))
    return [
        BrineRing(*span, beside[number]) for number, span in enumerate(spans, 1) if beside[number]
    ]


def soaks(reader: Reader, wheels: list[int], at: datetime) -> list[tuple[str, datetime, datetime]]:
    """(bath, since, until) of every stay of these wheels; one that is not over lasts until now."""
    rows: list[Any] = reader.rows(SALTED, wheels=wheels, at=at)
    return [(bath, since, min(gone or at, at)) for bath, since, gone in rows]


def merged(stays: Sequence[Soak]) -> list[Soak]:
    """Stays in order of bath and beginning, those that touch taken together."""
    spans: list[Soak] = []
    for stay in stays:
        last = spans[-1] if spans else None
        if last is not None and last.bath == stay.bath and stay.since <= last.until:
            spans[-1] = last._replace(until=max(last.until, stay.until))
        else:
            spans.append(stay)
    return spans


def runs_of(plates: Sequence[str]) -> str:
    """Plates in order, those that count up by one taken together: “0004711 to 0004732, 0004740”."""
    runs: list[list[str]] = []
    for plate in plates:
        if runs and follows(runs[-1][-1], plate):
            runs[-1].append(plate)
        else:
            runs.append([plate])
    return ", ".join(
        run[0] if len(run) == 1 else _("{first} to {last}").format(first=run[0], last=run[-1])
        for run in runs
    )


def follows(one: str, other: str) -> bool:
    """Whether a plate's number is the next one, written as long."""
    if not (one.isdecimal() and other.isdecimal()) or len(one) != len(other):
        return False
    return int(other) == int(one) + 1

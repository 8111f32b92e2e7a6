"""What the tests of the arithmetic share: the estate's clock, its groups' times, its rules.

The times of groups 3, 5 and 7 and the house rules are those of the acceptance scenarios.
"""

from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from herd.planned import PlannedTime, Stands
from herd.reference import rules
from herd.services.kept_out_reads import followed
from herd.withdrawal import BY_SCHEME, Estate, Given, Leaflet, Ordered, Rule

ZONE = ZoneInfo("Europe/Vienna")


def at(text: str, *, fold: int = 0) -> datetime:
    """A moment on the estate's clock, as "2026-06-03 17:00", in UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=ZONE, fold=fold).astimezone(UTC)


def shown(moment: datetime | None) -> str | None:
    """A moment as the estate's clock shows it."""
    return moment.astimezone(ZONE).strftime("%Y-%m-%d %H:%M") if moment else None


def times(*starts: str) -> tuple[PlannedTime, ...]:
    """The planned milkings of a day, for long."""
    return tuple(
        PlannedTime(session, time.fromisoformat(start), date(2020, 1, 1))
        for session, start in zip("MEN", starts, strict=False)
    )


GROUP_3 = times("04:10", "16:10")
GROUP_5 = times("04:30", "16:30")
GROUP_7 = times("05:15", "17:15")
RULES = tuple(
    Rule(row["name"], row["value"], row["valid_from"], row["scheme"])
    for row in rules()
    if row["name"] not in BY_SCHEME or row["scheme"] in followed()
)


def stands_in(group: tuple[PlannedTime, ...]) -> tuple[Stands, ...]:
    """She has stood in this group for long and still does."""
    return (Stands(at("2025-01-01 00:00"), None, group),)


def estate(group: tuple[PlannedTime, ...] = GROUP_5, **fields: Any) -> Estate:
    """The estate with an animal in a group."""
    return Estate(ZONE, fields.get("rules", RULES), fields.get("stands", stands_in(group)))


def leaflet(hours: Any = 84, **fields: Any) -> Leaflet:
    """A leaflet valid for long."""
    fields.setdefault("valid_from", date(2020, 1, 1))
    fields.setdefault("meat_days", 10)
    return Leaflet(milk_hours=None if hours is None else Decimal(hours), **fields)


def course(*given: str | datetime, hours: Any = 84, **fields: Any) -> Ordered:
    """A course of which these doses were given; as many were ordered unless told otherwise."""
    doses = tuple(Given(dose if isinstance(dose, datetime) else at(dose)) for dose in given)
    if doses:
        fields.setdefault("starts", doses[0].at)
    fields.setdefault("doses", len(doses))
    fields.setdefault("leaflets", (leaflet(hours),))
    return Ordered(given=(*doses, *fields.pop("skipped", ())), **fields)

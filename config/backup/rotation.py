"""Which backups stay: pure, the moments come in as arguments."""

from collections.abc import Callable, Hashable, Iterable
from datetime import datetime, timedelta


def kept(moments: Iterable[datetime], *, daily: int, weekly: int, monthly: int) -> set[datetime]:
    """Of backups made at these moments those that stay; the newest always does.

    The last of each of the ``daily`` newest days that have one, and so with weeks (ISO 8601) and
    months. A gap of some months therefore costs nothing that was kept before it.
    """
    newest_first = sorted(set(moments), reverse=True)
    rules: tuple[tuple[int, Callable[[datetime], Hashable]], ...] = (
        (daily, lambda moment: moment.date()),
        (weekly, lambda moment: moment.isocalendar()[:2]),
        (monthly, lambda moment: (moment.year, moment.month)),
    )
    stay = set(newest_first[:1])
    for most, span_of in rules:
        last_of: dict[Hashable, datetime] = {}
        for moment in newest_first:
            last_of.setdefault(span_of(moment), moment)
        stay.update(list(last_of.values())[:most])
    return stay


def is_due(last: datetime | None, now: datetime, hour: int) -> bool:
    """Whether a backup is to be made: none was made since the hour last struck.

    ``now`` carries the zone in which ``hour`` (0 to 23) is meant. Without any it is due at once.
    """
    if last is None:
        return True
    struck = now.replace(hour=hour, minute=0, second=0, microsecond=0)
    if struck > now:
        struck -= timedelta(days=1)
    return last < struck

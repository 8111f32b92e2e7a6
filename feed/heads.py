"""How many animals stood in a group at any moment of a span, read once."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime

from psycopg.types.range import TimestamptzRange

from herd.models import GroupStay


class Heads:
    """Heads of some groups between two moments. One statement, however many are asked for."""

    def __init__(self, groups: Iterable[int], start: datetime, end: datetime) -> None:
        """``groups``: their keys; ``end`` is within the span."""
        came: dict[int, list[datetime]] = defaultdict(list)
        left: dict[int, list[datetime]] = defaultdict(list)
        stays = GroupStay.objects.standing().filter(
            group__in=set(groups), during__overlap=TimestamptzRange(start, end, "[]")
        )
        for group, during in stays.order_by().values_list("group", "during"):
            came[group].append(during.lower)
            if during.upper is not None:
                left[group].append(during.upper)
        self.came = {group: sorted(moments) for group, moments in came.items()}
        self.left = {group: sorted(moments) for group, moments in left.items()}

    def at(self, group: int, moment: datetime) -> int:
        """Animals in a group at a moment: who came at that moment is in, who left is not."""
        came, left = self.came.get(group, []), self.left.get(group, [])
        return bisect_right(came, moment) - bisect_right(left, moment)

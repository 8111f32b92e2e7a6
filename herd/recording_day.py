"""One recording of the herd: what came in, what was changed, who is missing, what looks odd."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import Prefetch, QuerySet, prefetch_related_objects
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.models import Upload
from herd.models import Recording
from herd.udder_board import span_of
from herd.udder_herd import HerdNow, herd_now
from herd.udder_reads import Recorded
from herd.udder_scores import linear_score

# Outside these a figure is looked at again (common practice; what can be at all is refused before).
USUAL: dict[str, tuple[Decimal, Decimal]] = {
    "milk_kg": (Decimal(2), Decimal(60)),
    "fat": (Decimal("1.5"), Decimal(9)),
    "protein": (Decimal(2), Decimal(6)),
    "cells": (Decimal(1), Decimal(20_000)),
}
NAMES = {
    "milk_kg": N_("milk, kg"),
    "fat": N_("fat, %"),
    "protein": N_("protein, %"),
    "cells": "cells",
}


@dataclass(frozen=True, kw_only=True)
class Means:
    """The herd's means of a recording: milk plain, contents and cells weighed by milk."""

    cows: int
    kg: Decimal | None
    fat: Decimal | None
    protein: Decimal | None
    cells: Decimal | None
    score: float | None


@dataclass(frozen=True, kw_only=True)
class RecordingDay:
    """A recording, its entries (struck ones too), and the herd as it stood at its end."""

    recorded: Recorded
    herd: HerdNow
    rows: Sequence[Recording]

    @property
    def standing(self) -> list[Recording]:
        return [row for row in self.rows if not row.is_struck]

    @property
    def struck(self) -> list[Recording]:
        """What was taken back; its replacement, if there is one, is ``replaced_by``."""
        return [row for row in self.rows if row.is_struck]

    @property
    def uploads(self) -> list[Any]:
        """The files it came in by, each once."""
        return list({row.upload_id: row.upload for row in self.standing if row.upload_id}.values())

    @cached_property
    def odd(self) -> list[tuple[Recording, str]]:
        """Figures outside the usual range, in words."""
        found = []
        for row in self.standing:
            said = [
                f"{_(NAMES[name])} {value.normalize():f}"
                for name, (least, most) in USUAL.items()
                if (value := getattr(row, name)) is not None and not least <= value <= most
            ]
            if said:
                found.append((row, ", ".join(said)))
        return found

    @cached_property
    def means(self) -> Means:
        """The means of what stands."""
        scores = [score for row in self.standing if (score := linear_score(row.cells)) is not None]
        kgs = [row.milk_kg for row in self.standing if row.milk_kg is not None]
        return Means(
            cows=len({row.animal_id for row in self.standing}),
            kg=sum(kgs, Decimal(0)) / len(kgs) if kgs else None,
            fat=self.weighed("fat"),
            protein=self.weighed("protein"),
            cells=self.weighed("cells"),
            score=sum(scores) / len(scores) if scores else None,
        )

    def weighed(self, name: str) -> Decimal | None:
        """The mean of a column weighed by milk; None without any."""
        pairs = [
            (row.milk_kg, value)
            for row in self.standing
            if row.milk_kg and (value := getattr(row, name)) is not None
        ]
        kg = sum((kg for kg, _ in pairs), Decimal(0))
        return sum((kg * value for kg, value in pairs), Decimal(0)) / kg if kg else None


def recording_day(day: date, at: datetime) -> RecordingDay | None:
    """The recording whose days include ``day``; None when there was none by ``at``."""
    one_day = Recorded(first=day, last=day, tests=1, high=0)
    herd = herd_now(min(at, span_of(one_day)[1]))
    latest = herd.latest
    if latest is None or not latest.first <= day <= latest.last:
        return None
    found = RecordingDay(recorded=latest, herd=herd, rows=list(rows_of(latest, at)))
    # Two thousand rows came by one file, and only what is odd or struck is told by its cow.
    prefetch_related_objects(found.rows, Prefetch("upload", Upload.objects.defer("content")))
    prefetch_related_objects([*found.struck, *(row for row, _words in found.odd)], "animal")
    prefetch_related_objects(found.struck, "replacements")
    return found


def rows_of(recorded: Recorded, at: datetime) -> QuerySet[Any]:
    """The entries of a recording, struck ones too, by cow."""
    since, until = span_of(recorded)
    rows = Recording.objects.filter(happened_at__gte=since, happened_at__lt=until)
    rows = rows.filter(received_at__lte=at)
    found: QuerySet[Any] = rows.order_by("animal__farm_number", "happened_at", "pk")
    return found

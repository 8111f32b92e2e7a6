"""The day's fat to casein by the vats that are filled, without what still stands in the hall.

The pour board says what skimming can still change; whoever looks at vats is told where they stand.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from milk.day_make import NONE_YET, ratio_of_vat, usual_vats
from milk.figures import figures_on
from milk.limits import plain
from milk.models import MilkFigure, Vat
from milk.vat import day_ratio, ratio_left

STANDS = N_("{made} of about {planned} vats: fat to casein {mean}")
AT_MOST = N_("at most {most}")
OVER_NOW = N_("over {most}")
MEND = N_("each of the {still} still to fill needs {each} for the day to end at {aim}")


@dataclass(frozen=True, kw_only=True)
class SoFar:
    """The vats of a day by their fat to casein (by key; None: not written)."""

    ratios: dict[int, Decimal | None] = field(default_factory=dict)
    planned: int = 0
    most: Decimal | None = None
    aim: Decimal | None = None

    @property
    def known(self) -> list[Decimal]:
        return [one for one in self.ratios.values() if one is not None]

    @property
    def mean(self) -> Decimal | None:
        return day_ratio(self.known)

    @property
    def is_over(self) -> bool:
        return self.mean is not None and self.most is not None and self.mean > self.most

    @property
    def words(self) -> str:
        """Where the day stands, in a sentence."""
        if self.mean is None:
            return _(NONE_YET)
        made, still = len(self.known), max(0, self.planned - len(self.ratios))
        said = _(STANDS).format(made=made, planned=self.planned, mean=plain(self.mean, 3))
        if self.most is not None:
            bound = _(OVER_NOW) if self.is_over else _(AT_MOST)
            said += f" ({bound.format(most=plain(self.most))})"
        each = None if self.aim is None else ratio_left(self.known, still, self.aim)
        if each is not None and self.aim is not None:
            said += "; " + _(MEND).format(still=still, each=plain(each, 2), aim=plain(self.aim))
        return said + "."


def so_far(vats: Sequence[Vat], day: date) -> SoFar:
    """Where the standing vats of a day are. Two statements."""
    figures, what = figures_on(day), MilkFigure.What
    share, most, aim = (
        figures[name].value if name in figures else None
        for name in (what.CASEIN_SHARE, what.RATIO_MOST, what.RATIO_AIM)
    )
    return SoFar(
        ratios={vat.pk: ratio_of_vat(vat, share) for vat in vats},
        planned=max(len(vats), usual_vats(day)),
        most=most,
        aim=aim,
    )

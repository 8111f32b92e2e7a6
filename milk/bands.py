"""A measured value against the usual band, and since when it is out of it. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from config.saying import _
from herd.withdrawal import plain


@dataclass(frozen=True)
class Band:
    """The usual range, both ends in it; None where the estate set no end."""

    low: Decimal | None = None
    high: Decimal | None = None

    def is_out(self, value: Decimal | None) -> bool:
        """Whether a value lies outside; nothing measured lies nowhere."""
        return value is not None and self.side(value) != ""

    def side(self, value: Decimal) -> str:
        """On which side a value is out: “below”, “above”, or "" inside."""
        if self.low is not None and value < self.low:
            return "below"
        return "above" if self.high is not None and value > self.high else ""


def band_words(name: str, value: Decimal, unit: str, band: Band) -> str:
    """A value for people, with the end of the band it passes."""
    side = band.side(value)
    end = band.low if side == "below" else band.high
    said = f"{name} {plain(value)} {unit}"
    if not side or end is None:
        return said
    word = _("BELOW") if side == "below" else _("ABOVE")
    return f"{said}, {word} {plain(end)} {unit}"


def out_since(readings: Iterable[tuple[datetime, bool]]) -> datetime | None:
    """The first of the latest readings that are all out of the band; None when the last is in it.

    ``readings``: (moment, out of the band), in any order.
    """
    since = None
    for moment, out in sorted(readings, reverse=True):
        if not out:
            break
        since = moment
    return since

"""Papers of the store: the stock by age and grade for bank and insurer, and the climate log."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db import connection
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from config.days import estate_zone, local_day, start_of
from config.entries import Entry, EntryT
from config.papers import Column, Line, Paper, Part
from herd.withdrawal import plain
from milk.bands import Band
from milk.brine import TOO_LONG, TOO_SHORT, Soak
from milk.brine_board import reading_says, soak_words, terms_on
from milk.climate import bands_on
from milk.figures import Dated
from milk.models import (
    BrineReading,
    RoomReading,
    StoreRound,
)
from milk.stock_paper import told


def climate_paper(first: date, last: date, made_by: str) -> Paper:
    """What was measured of baths and rooms, and the rounds, from day to day, both included."""
    since, until = start_of(first), start_of(last + timedelta(days=1))
    figures = Dated()
    return Paper(
        title=_("Log of brine and store"),
        stem=f"brine and store {first} to {last}",
        made_by=made_by,
        made_at=timezone.now(),
        about=(_("{first} to {last}, both included.").format(first=first, last=last),),
        parts=(
            brine_part(since, until, figures),
            soak_part(since, until, figures),
            room_part(since, until, figures),
            round_part(since, until),
        ),
    )


def between(model: type[EntryT], since: datetime, until: datetime) -> Iterator[EntryT]:
    """The entries of a model between two moments, struck ones too, in order."""
    rows = model.objects.filter(happened_at__gte=since, happened_at__lt=until)
    return iter(rows.select_related("by", "struck_by").order_by("happened_at", "id"))


def struck_words(entry: Entry) -> str:
    """Who struck an entry, when and why; "" for one that stands."""
    if not entry.is_struck:
        return ""
    why = f"{entry.get_struck_reason_display()} {entry.struck_words}".strip()
    return _("{struck_at} by {struck_by}: {why}").format(
        struck_at=told(entry.struck_at), struck_by=entry.struck_by, why=why
    )


def brine_part(since: datetime, until: datetime, figures: Dated) -> Part:
    """Readings of the baths, what was out of its band, and salt put in."""
    lines = []
    for entry in between(BrineReading, since, until):
        out = [words for words, is_out in reading_says(entry, figures) if is_out]
        lines.append(
            Line(
                (
                    told(entry.happened_at),
                    entry.bath,
                    "" if entry.strength is None else f"{plain(entry.strength)} {entry.unit}",
                    "" if entry.temperature is None else plain(entry.temperature),
                    "" if entry.salt_kg is None else plain(entry.salt_kg),
                    entry.salt_batch,
                    _("turned") if entry.turned else "",
                    "; ".join(out),
                    str(entry.by),
                ),
                struck=struck_words(entry),
                url=f"/entries/brine-readings/{entry.uuid}/",
                loud=bool(out),
            )
        )
    heads = (
        _("When"),
        _("Bath"),
        _("Strength"),
        "°C",
        _("Salt, kg"),
        _("Batch of salt"),
        _("Wheels"),
        pgettext("climate", "Out"),
        _("By"),
    )
    return Part(
        tuple(
            Column(head, 2 if head in (_("When"), pgettext("climate", "Out")) else 1)
            for head in heads
        ),
        tuple(lines),
        title=_("Brine"),
        empty=_("No reading of a bath is written of these days."),
    )


_SOAKS = """
SELECT stay.bath, stay.row, done.put_in_at, done.happened_at, count(*),
       min(wheel.plate), max(wheel.plate)
FROM milk_brineout AS done JOIN milk_brinestay AS stay ON stay.id = done.stay_id
JOIN milk_wheel AS wheel ON wheel.id = done.wheel_id
WHERE done.struck_at IS NULL AND done.happened_at >= %(since)s AND done.happened_at < %(until)s
GROUP BY stay.bath, stay.row, done.put_in_at, done.happened_at
ORDER BY done.happened_at, stay.bath, stay.row
"""


def soak_of(put_in: datetime, out: datetime, figures: Dated) -> Soak:
    """A finished time in brine, by what the estate had set when it began."""
    terms = terms_on(figures, local_day(put_in))
    return Soak(put_in=put_in, taken_out=out, terms=terms, zone=estate_zone())


def soak_part(since: datetime, until: datetime, figures: Dated) -> Part:
    """Rows taken out: days in brine, and which were too short or too long."""
    with connection.cursor() as cursor:
        cursor.execute(_SOAKS, {"since": since, "until": until})
        rows = cursor.fetchall()
    lines = tuple(
        Line(
            (
                f"{bath}/{row}" if row else bath,
                told(put_in),
                told(out),
                str(number),
                first if number == 1 else _("{first} to {last}").format(first=first, last=last),
                soak_words(soak := soak_of(put_in, out, figures), out),
            ),
            loud=soak.judged(out) in (TOO_SHORT, TOO_LONG),
        )
        for bath, row, put_in, out, number, first, last in rows
    )
    heads = (
        _("Bath and row"),
        pgettext("brine", "In"),
        pgettext("brine", "Out"),
        _("Wheels"),
        _("Plates"),
        _("Days"),
    )
    return Part(
        tuple(Column(head, 2 if place == 4 else 1) for place, head in enumerate(heads)),
        lines,
        title=_("Taken out of brine"),
        empty=_("Nothing was taken out of brine on these days."),
    )


def room_part(since: datetime, until: datetime, figures: Dated) -> Part:
    """Readings of the rooms, and what was out of its band."""
    lines = []
    for entry in between(RoomReading, since, until):
        warmth, damp = bands_on(figures, local_day(entry.happened_at))
        out = [*sided(warmth, entry.temperature, "°C"), *sided(damp, entry.humidity, "%")]
        lines.append(
            Line(
                (
                    told(entry.happened_at),
                    entry.room,
                    "" if entry.temperature is None else plain(entry.temperature),
                    "" if entry.humidity is None else plain(entry.humidity),
                    "; ".join(out),
                    str(entry.by),
                ),
                struck=struck_words(entry),
                url=f"/entries/room-readings/{entry.uuid}/",
                loud=bool(out),
            )
        )
    heads = (_("When"), _("Room"), "°C", _("Humidity, %"), pgettext("climate", "Out"), _("By"))
    return Part(
        tuple(
            Column(head, 2 if head in (_("When"), pgettext("climate", "Out")) else 1)
            for head in heads
        ),
        tuple(lines),
        title=_("Rooms"),
        empty=_("No reading of a room is written of these days."),
    )


def sided(band: Band, value: Decimal | None, unit: str) -> Iterator[str]:
    """On which side of its band a value is, with the end it passes."""
    if value is None:
        return
    side = band.side(value)
    end = band.low if side == "below" else band.high
    if side and end is not None:
        yield f"{side} {plain(end)} {unit}"


def round_part(since: datetime, until: datetime) -> Part:
    """What was done to which aisle."""
    lines = tuple(
        Line(
            (told(e.happened_at), e.room, str(e.aisle), e.get_what_display(), str(e.by)),
            struck=struck_words(e),
        )
        for e in between(StoreRound, since, until)
    )
    heads = (_("When"), _("Room"), _("Aisle"), _("Done"), _("By"))
    return Part(
        tuple(Column(head) for head in heads),
        lines,
        title=_("Rounds"),
        empty=_("No round is written of these days."),
    )

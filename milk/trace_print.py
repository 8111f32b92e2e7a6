"""A trace for a terminal: the sentences, then tables as wide as the terminal at most."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.utils.translation import gettext as _

from config.language import in_readers_form
from milk.trace import TraceBack, TraceForward
from milk.trace_words import exact, lateness, local, plain, sentences

# So many rows of a long list are printed; --json has them all.
MOST_ROWS = 12
WIDTH = 96


def printed(trace: TraceBack | TraceForward) -> str:
    """The answer for a terminal: sentences, then tables."""
    way = _("Back from") if isinstance(trace, TraceBack) else _("Forward from")
    lines = [
        _("{way} {trace}   as at {as_at}, answered in {took_ms} ms").format(
            way=way,
            trace=trace.name,
            as_at=local(trace.as_at),
            took_ms=in_readers_form(f"{trace.took_ms:.1f}"),
        ),
        "",
        *(line for sentence in sentences(trace) for line in wrapped(sentence)),
    ]
    tables = back_tables(trace) if isinstance(trace, TraceBack) else forward_tables(trace)
    for title, heads, rows in tables:
        if rows:
            lines += ["", title, *table(heads, rows)]
    return "\n".join(lines)


Table = tuple[str, Sequence[str], list[Sequence[Any]]]


def back_tables(trace: TraceBack) -> Iterator[Table]:
    found = trace.found
    yield (
        _("Milk lots"),
        ("lot", "tank", "opened", _("kg in it"), _("share %"), _("carried over from"), ""),
        [
            (
                lot.row.code,
                lot.row.tank,
                local(lot.row.opened_at),
                exact(lot.kg),
                f"{lot.share * 100:.2f}",
                ", ".join(code for code, _ in lot.parents),
                "held" if trace.is_held("lot", lot.row.pk) else "",
            )
            for lot in found.lots
        ],
    )
    yield (
        _("Animals: withheld first, then heaviest"),
        ("animal", _("kg in it"), "cells", "counted", "milkings", ""),
        [
            (
                cow.name,
                exact(cow.kg),
                plain(cow.cells[2]) if cow.cells else "",
                local(cow.cells[0])[:10] if cow.cells else "never",
                str(len(cow.milkings)),
                _("NOT: withheld") if cow.withheld else "",
            )
            for cow in sorted(found.animals, key=lambda cow: not cow.withheld)
        ],
    )
    yield (
        _("Feed in the hours before"),
        ("feed", _("fed kg"), "groups", _("cut or in"), "late"),
        [
            (
                feed.name,
                exact(feed.kg, 1),
                " ".join(sorted({str(fed.group) for fed in feed.fed}, key=int)),
                local(feed.at),
                lateness(feed.hours_late),
            )
            for feed in found.feeds
        ],
    )
    yield may_table(trace)
    yield wheels_table(trace, found.wheels)


def may_table(trace: TraceBack | TraceForward) -> Table:
    """The groups that may have had of loads whose rest nobody wrote."""
    return (
        _("NOT SURE: may have had it"),
        ("load", _("not written kg"), "group", _("fed in that hour"), _("milkings after")),
        [
            (feed.name, exact(feed.kg, 1), str(fed.group), local(fed.first), str(len(fed.milkings)))
            for feed in trace.may_feeds
            for fed in feed.groups
        ],
    )


def forward_tables(trace: TraceForward) -> Iterator[Table]:
    found = trace.found
    yield (
        _("Milk lots, newest first"),
        ("lot", "tank", "opened", _("of interest kg"), _("whole kg"), _("left kg"), ""),
        [
            (
                lot.row.code,
                lot.row.tank,
                local(lot.row.opened_at),
                exact(lot.kg.interest),
                exact(lot.row.whole),
                exact(lot.left.whole) if lot.left.whole > 0 else "",
                "held" if trace.is_held("lot", lot.row.pk) else "",
            )
            for lot in reversed(found.lots)
        ],
    )
    yield (
        _("Vats, newest first"),
        ("vat", _("of interest kg"), _("of the lots kg"), ""),
        [
            (
                vat.name,
                exact(vat.kg.interest),
                exact(vat.kg.whole),
                "held" if trace.is_held("vat", vat.pk) else "",
            )
            for vat in reversed(found.vats)
        ],
    )
    yield wheels_table(trace, [wheel for wheel, _ in reversed(found.wheels)])
    yield may_table(trace)
    if trace.may:
        yield (
            _("NOT SURE: lots their milk is in besides"),
            ("lot", "tank", "opened", _("of interest kg"), _("whole kg"), ""),
            [
                (
                    lot.row.code,
                    lot.row.tank,
                    local(lot.row.opened_at),
                    exact(lot.kg.interest),
                    exact(lot.row.whole),
                    "held" if trace.is_held("lot", lot.row.pk) else "",
                )
                for lot in reversed(trace.may.lots)
            ],
        )


def wheels_table(trace: TraceBack | TraceForward, wheels: Iterable[Any]) -> Table:
    return (
        _("Wheels"),
        ("plate", "twin", "kg", "where", "since", ""),
        [
            (
                wheel.plate,
                wheel.twin,
                exact(wheel.kg, 1),
                trace.places[wheel.pk].words,
                local(trace.places[wheel.pk].at),
                "held" if trace.is_held("wheel", wheel.pk) else "",
            )
            for wheel in wheels
        ],
    )


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows under their headings, numbers to the right, none wider than the terminal."""
    shown = rows[:MOST_ROWS]
    columns = list(zip(heads, *shown, strict=True))
    widths = [max(len(cell) for cell in column) for column in columns]
    spare = WIDTH - sum(widths) - 2 * (len(widths) + 1)
    if spare < 0:
        longest = max(range(len(widths)), key=lambda place: widths[place])
        widths[longest] = max(widths[longest] + spare, 8)
    right = [
        all(cell.replace(",", "").replace(".", "").isdigit() or not cell for cell in column[1:])
        for column in columns
    ]
    lines = [
        "  "
        + "  ".join(
            clipped(cell, width).rjust(width) if number else clipped(cell, width).ljust(width)
            for cell, width, number in zip(row, widths, right, strict=True)
        ).rstrip()
        for row in (heads, *shown)
    ]
    if len(rows) > MOST_ROWS:
        lines.append(
            _("  … and {count} more (--json has them all)").format(count=len(rows) - MOST_ROWS)
        )
    return lines


def clipped(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


def wrapped(sentence: str) -> Iterator[str]:
    """A sentence in lines no wider than the terminal."""
    line = ""
    for word in sentence.split(" "):
        if line and len(line) + 1 + len(word) > WIDTH:
            yield line
            line = f"  {word}"
        else:
            line = f"{line} {word}" if line else word
    yield line

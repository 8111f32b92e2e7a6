"""A trace for a terminal: the sentences, then tables as wide as the terminal at most."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from milk.trace import TraceBack, TraceForward
from milk.trace_words import exact, lateness, local, plain, sentences

# So many rows of a long list are printed; --json has them all.
MOST_ROWS = 12
WIDTH = 96


def printed(trace: TraceBack | TraceForward) -> str:
    """The answer for a terminal: sentences, then tables."""
    way = "Back from" if isinstance(trace, TraceBack) else "Forward from"
    lines = [
        f"{way} {trace.name}   as at {local(trace.as_at)}, answered in {trace.took_ms:.1f} ms",
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
        "Milk lots",
        ("lot", "tank", "opened", "kg in it", "share %", "carried over from", ""),
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
        "Animals: withheld first, then heaviest",
        ("animal", "kg in it", "cells", "counted", "milkings", ""),
        [
            (
                cow.name,
                exact(cow.kg),
                plain(cow.cells[2]) if cow.cells else "",
                local(cow.cells[0])[:10] if cow.cells else "never",
                str(len(cow.milkings)),
                "NOT: withheld" if cow.withheld else "",
            )
            for cow in sorted(found.animals, key=lambda cow: not cow.withheld)
        ],
    )
    yield (
        "Feed in the hours before",
        ("feed", "fed kg", "groups", "cut or in", "late"),
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
        "NOT SURE: may have had it",
        ("load", "not written kg", "group", "fed in that hour", "milkings after"),
        [
            (feed.name, exact(feed.kg, 1), str(fed.group), local(fed.first), str(len(fed.milkings)))
            for feed in trace.may_feeds
            for fed in feed.groups
        ],
    )


def forward_tables(trace: TraceForward) -> Iterator[Table]:
    found = trace.found
    yield (
        "Milk lots, newest first",
        ("lot", "tank", "opened", "of interest kg", "whole kg", "left kg", ""),
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
        "Vats, newest first",
        ("vat", "of interest kg", "of the lots kg", ""),
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
            "NOT SURE: lots their milk is in besides",
            ("lot", "tank", "opened", "of interest kg", "whole kg", ""),
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
        "Wheels",
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
        lines.append(f"  … and {len(rows) - MOST_ROWS} more (--json has them all)")
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

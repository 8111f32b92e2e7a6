"""The dossier of a recall, and the list of buyers to be rung; see also ``recalls_notice``."""

from collections.abc import Iterable
from datetime import datetime

from django.contrib.auth.models import User
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.days import local
from config.language import in_readers_form
from config.papers import CAUTION, Column, Line, Paper, Part, joined
from milk.models import RecallStep
from milk.recalls import Board, Buyer, WheelRow
from milk.recalls_missing import Missing, details_of, name_of
from milk.recalls_words import (
    CAUTION as OF_RECALLS,
)
from milk.recalls_words import (
    DRILL,
    record_of_drills,
    sentences,
    where_says,
)

WHEELS = (
    Column(_l("Plate"), 1.2),
    Column(_l("Vat"), 1.6),
    Column(_l("kg at 24 h"), 0.9, figures=True),
    Column(_l("State"), 1.6),
    Column(_l("Where it is, or went"), 3.4),
    Column(_l("Since"), 1.5),
    Column(_l("Paper"), 1.2),
    Column(_l("Held"), 0.6),
)
BUYERS = (
    Column(_l("Buyer"), 2),
    Column(_l("Phone"), 1.5),
    Column(_l("Address"), 2),
    Column(_l("Wheels"), 0.7, figures=True),
    Column("kg", 0.8, figures=True),
    Column(_l("Plates and other products"), 3),
    Column(_l("Papers"), 1.3),
    Column(_l("Answer"), 2.4),
)
STEPS = (
    Column(_l("When"), 1.4),
    Column(_l("Done"), 1.2),
    Column(_l("Wheel or buyer"), 1.6),
    Column(_l("What was said"), 4),
    Column(_l("By"), 1.2),
)
MISSING = (
    Column(_l("Plate"), 1),
    Column(_l("Last written"), 2.6),
    Column(_l("When"), 1.3),
    Column(_l("By"), 1.2),
    Column(_l("Beside that place lie"), 2.2),
    Column(_l("Picked for"), 1.6),
)


def dossier(board: Board, by: User, at: datetime) -> Paper:
    """Everything about a recall: the answer, wheels, missing ones, buyers, steps, balance."""
    missing = details_of(board.missing, board.as_at)
    return Paper(
        title=_("{head}: dossier").format(head=head(board)),
        stem=f"recall dossier {board.recall.happened_at:%Y-%m-%d} {board.recall.root_name}",
        made_by=name_of(by),
        made_at=at,
        about=about(board),
        answer=" ".join(sentences(board, record_of_drills(board.recall.happened_at))),
        missing=tuple(
            _("wheel {plate}, {fate}").format(plate=one.row.wheel.plate, fate=_(one.row.fate))
            for one in missing
        ),
        missing_title=_("Not found"),
        parts=(
            Part(WHEELS, wheel_lines(board.rows), _("Wheels"), where_says(board), _(NO_WHEELS)),
            Part(
                MISSING,
                tuple(map(missing_line, missing)),
                _("Not found"),
                empty=_("None is missing."),
            ),
            Part(
                BUYERS, tuple(map(buyer_line, board.buyers)), _("Buyers"), empty=_("Nothing left.")
            ),
            Part(STEPS, step_lines(board.steps), _("Steps"), empty=_("Nothing was done yet.")),
            chain_part(board),
            *may_parts(board),
            *brine_parts(board),
            balance_part(board),
        ),
        cautions=cautions(board),
    )


NO_WHEELS = N_("No wheel was made of it.")
NOTHING_OUT = N_("Nothing of it left the estate.")


def buyers_list(board: Board, by: User, at: datetime) -> Paper:
    """Whom to ring, those who have not answered first."""
    still = sum(one.is_open for one in board.buyers)
    return Paper(
        title=_("{head}: buyers to ring").format(head=head(board)),
        stem=f"recall buyers {board.recall.happened_at:%Y-%m-%d}",
        made_by=name_of(by),
        made_at=at,
        about=about(board),
        answer=_("{still} of {count} buyers still to be rung.").format(
            still=still, count=len(board.buyers)
        ),
        missing=tuple(
            _("{holding} has no phone number in the book").format(holding=one.holding.name)
            for one in board.buyers
            if not one.holding.phone
        ),
        parts=(Part(BUYERS, tuple(map(buyer_line, board.buyers)), empty=_(NOTHING_OUT)),),
        cautions=cautions(board),
        signed=False,
    )


def head(board: Board) -> str:
    name = _("Drill of {root_name}") if board.recall.drill else _("Recall of {root_name}")
    return name.format(root_name=board.recall.root_name)


def about(board: Board) -> tuple[str, ...]:
    """For which recall, since when, and as at when."""
    recall = board.recall
    span = joined(
        [
            _("milked or salted since {since}").format(since=local(recall.since))
            if recall.since
            else "",
            _("until {until}").format(until=local(recall.until)) if recall.until else "",
        ]
    )
    return tuple(
        filter(
            None,
            (
                _("Begun {happened_at} by {by}: {reason}").format(
                    happened_at=local(recall.happened_at),
                    by=name_of(recall.by),
                    reason=recall.reason,
                ),
                _("Starts from {root_name}, {reach}. {span}")
                .format(root_name=recall.root_name, reach=recall.get_reach_display(), span=span)
                .strip(),
                _("As at {as_at}.").format(as_at=local(board.as_at)),
            ),
        )
    )


def cautions(board: Board) -> tuple[str, ...]:
    return (*((_(DRILL),) if board.recall.drill else ()), _(OF_RECALLS), CAUTION)


def wheel_lines(rows: Iterable[WheelRow]) -> tuple[Line, ...]:
    return tuple(
        Line(
            (
                row.wheel.plate,
                str(row.wheel.vat),
                "" if row.wheel.kg is None else in_readers_form(f"{row.wheel.kg.normalize():f}"),
                _(row.fate),
                row.where,
                local(row.place.at) if row.place.at else "",
                row.sent.paper if row.sent else "",
                _("held") if row.held else "",
            ),
            url=row.wheel.get_absolute_url(),
            loud=row.fate.is_missing,
        )
        for row in rows
    )


def missing_line(one: Missing) -> Line:
    return Line(
        (
            one.row.wheel.plate,
            one.last,
            local(one.at),
            one.by,
            ", ".join(one.neighbours),
            ", ".join(one.orders) or _("no open order"),
        ),
        url=one.row.wheel.get_absolute_url(),
        loud=True,
    )


def buyer_line(one: Buyer) -> Line:
    has = joined([", ".join(row.wheel.plate for row in one.wheels), *one.others], "; ")
    said = "; ".join(
        joined([call.get_answer_display(), call.spoke_with, local(call.happened_at)])
        for call in one.calls
    )
    return Line(
        (
            one.holding.name,
            one.holding.phone,
            one.holding.address,
            f"{len(one.wheels)}",
            in_readers_form(f"{one.kg:,.1f}") if one.wheels else "",
            has,
            ", ".join(one.papers),
            said or _("not rung yet"),
        ),
        loud=one.is_open,
    )


def step_lines(steps: Iterable[RecallStep]) -> tuple[Line, ...]:
    return tuple(
        Line(
            (
                local(step.happened_at),
                str(step.get_what_display()),
                str(step.wheel or step.buyer or ""),
                said_of(step),
                name_of(step.by),
            )
        )
        for step in steps
    )


def said_of(step: RecallStep) -> str:
    """What a step says besides what it is about."""
    return joined(
        [
            str(step.get_answer_display()) if step.answer else "",
            _("spoke with {spoke_with}").format(spoke_with=step.spoke_with)
            if step.spoke_with
            else "",
            step.place,
            f"{step.kg.normalize():f} kg" if step.kg is not None else "",
            _("paper {paper}").format(paper=step.paper) if step.paper else "",
            step.words,
        ]
    )


def chain_part(board: Board) -> Part:
    """Lots and vats as they were frozen at the start, and the second ring."""
    tree = board.recall.tree
    kinds = (
        ("lot", "lots"),
        ("vat", "vats"),
        (_("starter with its whey, not called back"), "starter_cans"),
        (_("second ring, not called back"), "second_ring"),
        (_("shared the brine, not called back"), "brine"),
        (_("may have it, not called back"), "may"),
    )
    lines = [
        Line((kind, item["name"]))
        for kind, name in kinds
        for item in tree.get(name, ())
        if isinstance(item, dict)
    ]
    return Part(
        (Column(_("What"), 1), Column(_("Name"), 3)), tuple(lines), _("Lots and vats at the start")
    )


def may_parts(board: Board) -> tuple[Part, ...]:
    """The wheels that only may have it, when there are any."""
    if not board.may:
        return ()
    columns = (Column(_("Plate"), 1), Column(_("Where it is, or went"), 4))
    lines = tuple(Line((row.wheel.plate, str(row.place))) for row in board.may)
    return (Part(columns, lines, _("Only may have it, not called back")),)


def brine_parts(board: Board) -> tuple[Part, ...]:
    """The wheels that only shared the brine, bath by bath, when there are any."""
    if not board.brine:
        return ()
    columns = (
        Column(_("Bath"), 0.6),
        Column(_("Since"), 1.2),
        Column(_("Until"), 1.2),
        Column(_("Wheels"), 0.7, figures=True),
        Column(_("Plates"), 6),
    )
    lines = tuple(
        Line(
            (
                ring.bath,
                local(ring.since),
                local(ring.until),
                in_readers_form(f"{len(ring.wheels):,}"),
                ring.runs,
            )
        )
        for ring in board.brine
    )
    return (Part(columns, lines, _("Only shared the brine, not called back")),)


def balance_part(board: Board) -> Part:
    """The milk's balance, line by line."""
    found = board.below.found if board.below else None
    lines = [
        Line((name, in_readers_form(f"{kg.interest:,.3f}"), in_readers_form(f"{kg.whole:,.3f}")))
        for name, kg in (found.balance.lines() if found else ())
    ]
    columns = (
        Column(_("Milk"), 2),
        Column(_("Of interest, kg"), 1, figures=True),
        Column(_("Of the lots, kg"), 1, figures=True),
    )
    return Part(
        columns, tuple(lines), _("Balance of the milk"), empty=_("It begins at the cheese.")
    )

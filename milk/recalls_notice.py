"""What others are told of a recall: the buyers what to hold back, the authority everything asked of
us. A buyer's notice names no other buyer. Reads only.
"""

from collections.abc import Callable, Iterable
from datetime import datetime

from django.contrib.auth.models import User
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.days import day_in_figures, local, local_day
from config.errors import Conflict
from config.language import in_readers_form
from config.papers import CAUTION, Column, Line, Paper, Part, joined
from config.templatetags.sheet import amount
from milk.models import Product
from milk.recalls import Board, WheelRow
from milk.recalls_missing import name_of
from milk.recalls_paper import (
    BUYERS,
    NOTHING_OUT,
    STEPS,
    about,
    buyer_line,
    buyers_list,
    cautions,
    dossier,
    head,
    step_lines,
)
from milk.recalls_words import DRILL, sentences, wheels
from milk.vat_code import vat_code
from milk.wheel_labels import product_on

KINDS = ("dossier", "authority", "notice", "buyers")
FACTS = (Column(_l("Fact"), 1), Column(_l("Says"), 5))
LEFT = (
    Column(_l("Plate"), 1),
    Column(_l("Lot on the label"), 1.2),
    Column(_l("Made on"), 1),
    Column(_l("kg as sent"), 0.8, figures=True),
    Column(_l("Sent on"), 1),
    Column(_l("Paper"), 1),
)
TO_WHOM = (*LEFT, Column(_l("To"), 2), Column(_l("State"), 1.6))
NOT_A_PRODUCT = N_("raw-milk hard cheese, whole wheels")
WHAT_TO_DO = N_(
    "Hold them back, say how many you have, and wait for word on what becomes of them. Whoever has "
    "eaten of it and feels ill sees a doctor."
)


def paper_of(kind: str, board: Board, *, by: User, at: datetime) -> Paper:
    """One paper of a recall. Raises KeyError for a kind that there is not."""
    made: dict[str, Callable[[Board, User, datetime], Paper]] = {
        "dossier": dossier,
        "authority": authority,
        "notice": notice,
        "buyers": buyers_list,
    }
    return made[kind](board, by, at)


def notice(board: Board, by: User, at: datetime) -> Paper:
    """What buyers are told: product, plates and lots, reason, what to do, whom to ring."""
    sent = sent_of(board)
    recall = board.recall
    facts = (
        *what_and_why(board),
        (
            _("Wheels that left"),
            _("{wheels}, with the plates below").format(wheels=wheels(len(sent))),
        ),
        (_("What to do"), _(WHAT_TO_DO)),
        (_("Contact"), contact(board)),
    )
    return Paper(
        title=_("{head}: notice").format(head=head(board)),
        stem=f"recall notice {recall.happened_at:%Y-%m-%d}",
        made_by=name_of(by),
        made_at=at,
        about=(
            _("Begun {happened_at}.").format(happened_at=local(recall.happened_at)),
            _("As at {as_at}.").format(as_at=local(board.as_at)),
        ),
        answer=_("Hold these wheels back, do not sell or cut them. {reason}").format(
            reason=recall.reason
        ),
        parts=(
            Part(FACTS, fact_lines(facts), _("The facts")),
            Part(LEFT, tuple(map(left_line, sent)), _("Wheels"), empty=_("No wheel of it left.")),
            *others_part(board),
        ),
        cautions=(*((_(DRILL),) if recall.drill else ()), CAUTION),
    )


def authority(board: Board, by: User, at: datetime) -> Paper:
    """What the competent authority is told: the same, who has it, how far it is, what was done."""
    sent = sent_of(board)
    recall = board.recall
    facts = (
        *what_and_why(board),
        (_("Starts from"), recall.root_name),
        (
            _("Lots of milk"),
            ", ".join(lot["name"] for lot in recall.tree.get("lots", ())) or _("none"),
        ),
        (_("Vats"), ", ".join(vat["name"] for vat in recall.tree.get("vats", ())) or _("none")),
        (
            _("Wheels made"),
            _("{count}, {kg} kg at 24 h").format(
                count=amount(len(board.rows)), kg=in_readers_form(f"{board.located.made.kg:,.1f}")
            ),
        ),
        (_("Of these sent out"), in_readers_form(f"{len(sent):,}")),
        (
            _("Begun"),
            _("{happened_at} by {by}").format(
                happened_at=local(recall.happened_at), by=name_of(recall.by)
            ),
        ),
        (_("Contact"), contact(board)),
    )
    return Paper(
        title=_("{head}: for the authority").format(head=head(board)),
        stem=f"recall authority {recall.happened_at:%Y-%m-%d}",
        made_by=name_of(by),
        made_at=at,
        about=about(board),
        answer=" ".join(sentences(board)),
        parts=(
            Part(FACTS, fact_lines(facts), _("The facts")),
            Part(TO_WHOM, tuple(map(sent_line, sent)), _("Wheels that left"), empty=_(NOTHING_OUT)),
            Part(
                BUYERS, tuple(map(buyer_line, board.buyers)), _("Who has it"), empty=_(NOTHING_OUT)
            ),
            Part(STEPS, step_lines(board.steps), _("Time line"), empty=_("Nothing was done yet.")),
        ),
        cautions=cautions(board),
    )


def others_part(board: Board) -> tuple[Part, ...]:
    """Milk, cream, butter and whey of it that left, when any did."""
    lines = tuple(Line((words,)) for one in board.buyers for words in one.others)
    return (Part((Column(_("What left"), 1),), lines, _("Other products of it")),) if lines else ()


def what_and_why(board: Board) -> Iterable[tuple[str, str]]:
    product = product_of(board)
    said = (
        _("{product}: {description}, GTIN {gtin}").format(
            product=product.name, description=product.description, gtin=product.gtin
        )
        if product
        else ""
    )
    yield _("What"), said or _(NOT_A_PRODUCT)
    yield _("Why"), board.recall.reason


def product_of(board: Board) -> Product | None:
    """The product of the day it began; None when none is written."""
    try:
        return product_on(local_day(board.recall.happened_at))
    except Conflict:
        return None


def contact(board: Board) -> str:
    """Who began it, and the estate's own address and phone as its product is sent under."""
    product = product_of(board)
    holding = product.holding if product else None
    estate = joined([holding.name, holding.address, holding.phone]) if holding else ""
    return joined([name_of(board.recall.by), estate or _("the office of the estate")], "; ")


def fact_lines(facts: Iterable[tuple[str, str]]) -> tuple[Line, ...]:
    return tuple(Line(fact) for fact in facts)


def sent_of(board: Board) -> list[WheelRow]:
    """The wheels that left and are not back."""
    return [row for row in board.rows if row.sent is not None]


def left_cells(row: WheelRow) -> tuple[str, ...]:
    assert row.sent is not None
    return (
        row.wheel.plate,
        vat_code(row.wheel.vat),
        day_in_figures(local_day(row.wheel.happened_at)),
        in_readers_form(f"{row.sent.kg:,.1f}"),
        day_in_figures(local_day(row.sent.happened_at)),
        row.sent.paper,
    )


def left_line(row: WheelRow) -> Line:
    return Line(left_cells(row), url=row.wheel.get_absolute_url())


def sent_line(row: WheelRow) -> Line:
    assert row.sent is not None
    cells = (*left_cells(row), str(row.sent.buyer), _(row.fate))
    return Line(cells, url=row.wheel.get_absolute_url(), loud=row.fate.is_missing)

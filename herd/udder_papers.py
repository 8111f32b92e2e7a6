"""The lists of the udder board to take away: who moved where, who is to go out, one recording."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from config.papers import CAUTION, Column, Line, Paper, Part
from herd.services.plans import name_of
from herd.tank_share import WhatIf
from herd.udder import Move, Movement
from herd.udder_herd import Cow, HerdNow, TankNow
from herd.udder_words import age_caution, day_words, new_words, plain, recording_words
from herd.withdrawal import plain as exact

# The rows that are looked at first.
ORDER = {Movement.NEW: 0, Movement.CHRONIC: 1, Movement.CURED: 2, Movement.LOW: 3, None: 4}
MOVED_COLUMNS = (
    Column(_l("Cow")),
    Column(_l("Group"), figures=True),
    Column(_l("Movement")),
    Column(_l("Between")),
    Column(_l("Before, thousand per ml"), 1.4, figures=True),
    Column(_l("Now, thousand per ml"), 1.4, figures=True),
    Column(_l("Score"), figures=True),
    Column(_l("Days between"), figures=True),
    Column(_l("Marked"), 1.6),
)
STEP_COLUMNS = (
    Column(_l("Cow out")),
    Column(_l("Milk, kg a day"), figures=True),
    Column(_l("Cells, thousand per ml"), 1.4, figures=True),
    Column(_l("Tank then, thousand per ml"), 1.4, figures=True),
    Column(_l("Lost so far, kg a day"), 1.4, figures=True),
)
LONG_GAP = N_("gap above {days} days")


def movement_paper(herd: HerdNow, by: Any, at: datetime) -> Paper:
    """Every cow with a valid count at the last recording, new ones first; then the missing ones."""
    rows = [(cow, cow.move) for cow in herd.cows if cow.move is not None]
    rows.sort(key=lambda row: (ORDER[row[1].movement], -(row[1].now.cells or 0), row[0].name))
    lines = tuple(moved_line(cow, move, herd) for cow, move in rows)
    missing = tuple(
        Line((cow.name, str(cow.answer.group), _(str(why))), url=address(cow))
        for cow, why in herd.missing
    )
    caution = age_caution(herd)
    return Paper(
        title=_("Who moved at the last recording"),
        stem="udder-movement",
        made_by=name_of(by),
        made_at=at,
        answer=new_words(herd.moved.new, herd.rules),
        about=(recording_words(herd),),
        missing=(caution,) if caution else (),
        parts=(
            Part(MOVED_COLUMNS, lines, title=_("Cows with a valid count"), empty=_("None.")),
            Part(
                (Column(_("Cow")), Column(_("Group"), figures=True), Column(_("Why"), 3)),
                missing,
                title=_("Cows in milk without one"),
                empty=_("None is missing."),
            ),
        ),
        cautions=(_("A count says nothing of the germ. ") + CAUTION,),
        signed=False,
    )


def moved_line(cow: Cow, move: Move, herd: HerdNow) -> Line:
    """One cow's step."""
    score = cow.score
    return Line(
        (
            cow.name,
            str(cow.answer.group),
            _(str(move.movement)) if move.movement else (_("high") if move.is_high else _("low")),
            _(str(move.line)),
            plain(move.before.cells) if move.before else "",
            plain(move.now.cells),
            "" if score is None else f"{score:.1f}",
            "" if move.days is None else str(move.days),
            _(LONG_GAP).format(days=exact(herd.rules.gap)) if move.marked else "",
        ),
        url=address(cow),
        loud=move.movement is Movement.NEW,
    )


def address(cow: Cow) -> str:
    """The page of a cow."""
    return f"/herd/animals/{cow.answer.uuid}/"


def what_if_paper(
    herd: HerdNow,
    tank: TankNow,
    target: Decimal,
    answers: Sequence[WhatIf],
    by: Any,
    at: datetime,
) -> Paper:
    """Both orders of cows to take out of a tank."""
    uuids = {pk: str(answer.uuid) for pk, answer in herd.answers().items()}
    parts = tuple(
        Part(
            STEP_COLUMNS,
            tuple(
                Line(
                    (
                        step.out.name,
                        plain(step.out.kg, 1),
                        plain(step.out.cells),
                        plain(step.cells),
                        plain(step.kg_lost, 1),
                    ),
                    url=f"/herd/animals/{uuids[step.out.cow]}/",
                )
                for step in answer.steps
            ),
            title=capfirst(_(str(answer.order))),
            note=what_if_words(answer, target),
            empty=_("Nobody has to go out."),
        )
        for answer in answers
    )
    caution = age_caution(herd)
    return Paper(
        title=_("Tank {line} at {target} thousand per ml").format(
            line=tank.line, target=exact(target)
        ),
        stem=f"what-if-tank-{tank.line}",
        made_by=name_of(by),
        made_at=at,
        about=(_("By the recording of {last}.").format(last=day_words(herd.latest.last)),)
        if herd.latest
        else (),
        missing=(caution,) if caution else (),
        parts=parts,
        signed=False,
    )


def what_if_words(answer: WhatIf, target: Decimal) -> str:
    """What it takes, in a sentence."""
    if answer.before is None:
        return _("No cow of this tank has kg and cells: nothing can be said.")
    if not answer.steps:
        return _("The tank is at {before} already.").format(before=plain(answer.before))
    last = answer.steps[-1]
    number = len(answer.steps)
    if not answer.reached:
        return _("Every cow is above {target}: the tank cannot come down to it.").format(
            target=exact(target)
        )
    return ngettext(
        "{count} cow out: {before} becomes {cells}, {kg} kg a day lost.",
        "{count} cows out: {before} becomes {cells}, {kg} kg a day lost.",
        number,
    ).format(
        count=number,
        before=plain(answer.before),
        cells=plain(last.cells),
        kg=plain(last.kg_lost, 1),
    )

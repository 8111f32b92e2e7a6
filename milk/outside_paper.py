"""The file of a finding outside: what was found, which cows and courses it may come from, what was
called back, held and destroyed, and its cause and cure. Reads only.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.utils.translation import gettext_noop as N_

from config.days import day_in_figures, local
from config.language import in_readers_form
from config.papers import CAUTION, Column, Line, Paper, Part, joined
from herd.models import WithdrawalPeriod
from milk.held import open_holds
from milk.models import (
    Hold,
    HoldDecision,
    OutsideFinding,
    OutsideStep,
    Recall,
    RecallStep,
    VatLot,
)
from milk.nouns import many
from milk.recalls import Board, board_of
from milk.recalls_below import below_root
from milk.recalls_missing import name_of
from milk.recalls_roots import Root, find_root, refused_words
from milk.recalls_words import CAUTION as OF_RECALLS
from milk.recalls_words import located_says, word_of
from milk.services.recall_holds import cause_of_hold
from milk.trace_back import read_back, read_top
from milk.trace_parts import CowIn
from milk.trace_sql import Reader

# Courses that ended so long before a milking are told too: somebody may have counted wrongly.
LOOKED_BACK = timedelta(days=14)
TREATED = (
    WithdrawalPeriod.Kind.COURSE,
    WithdrawalPeriod.Kind.DRY,
    WithdrawalPeriod.Kind.UNKNOWN,
)
# Of an order from many lots of milk so many are traced back; their own pages have the rest.
MOST_LOTS = 12
FACTS = (Column(_l("Fact"), 1), Column(_l("Says"), 5))
COWS = (
    Column(_l("Animal"), 1),
    Column(_l("Milked"), 1.3),
    Column(_l("Lot"), 1.4),
    Column(_l("Withheld from"), 1.3),
    Column(_l("Until"), 1.3),
    Column(_l("Hours before the milking"), 1, figures=True),
    Column(_l("Why"), 4),
)
RECALLS = (
    Column(_l("Begun"), 1.3),
    Column(_l("Of"), 2),
    Column(_l("State"), 1),
    Column(_l("Wheels"), 0.7, figures=True),
    Column(_l("Located"), 3.4),
)
HELD = (
    Column(_l("Held since"), 1.3),
    Column(_l("What for"), 4),
    Column(_l("Decided"), 1.4),
    Column(_l("By"), 2),
)
GONE = (
    Column(_l("When"), 1.3),
    Column(_l("Wheel"), 1),
    Column(_l("kg at 24 h"), 0.8, figures=True),
    Column(_l("Paper"), 2),
    Column(_l("By"), 1),
)
STEPS = (
    Column(_l("When"), 1.3),
    Column(_l("Done"), 1.6),
    Column(_l("What was said"), 5),
    Column(_l("By"), 1),
)
NO_COW_KNOWN = N_("No cow is known that it may come from.")
NO_COW = N_(
    "No animal of this milk was inside a withdrawal period when she was milked, and no treatment's "
    "had ended in the {days} days before."
)


@dataclass(frozen=True)
class File:
    """Everything in the file of a finding."""

    finding: OutsideFinding
    steps: list[OutsideStep]
    boards: list[Board]
    cows: list[CowIn]
    trouble: str

    @property
    def closed(self) -> OutsideStep | None:
        closed = OutsideStep.What.CLOSED
        return next((one for one in self.steps if one.what == closed and not one.is_struck), None)

    def said(self, what: str) -> list[str]:
        """What was written as the cause, or as the cure."""
        return [one.words for one in self.steps if one.what == what and not one.is_struck]


def file_of(finding: OutsideFinding, at: datetime) -> File:
    """The file as the book has it at a moment."""
    steps = OutsideStep.objects.filter(finding=finding).select_related("by", "struck_by")
    begun = Recall.objects.standing().filter(
        root_kind=Recall.Root.FINDING, root=str(finding.uuid), happened_at__lte=at
    )
    recalls = list(begun.select_related("by").order_by("happened_at", "id"))
    boards = [board_of(one, at) for one in recalls]
    cows, trouble = cows_of(finding, at)
    return File(finding, list(steps.order_by("happened_at", "id")), boards, cows, trouble)


def cows_of(finding: OutsideFinding, at: datetime) -> tuple[list[CowIn], str]:
    """The cows whose milk is in what it was found in; words where the book no longer has it."""
    try:
        root = find_root(finding.about_kind, finding.about)
        lots = [root.thing.pk] if root.kind == Recall.Root.LOT else lots_below(root, at)
    except ValidationError as refused:
        return [], refused_words(refused)
    reader = Reader()
    # Nothing of their feed is told here.
    found = [read_back(reader, read_top(reader, lot=lot), timedelta(0)) for lot in lots]
    return [cow for one in found for cow in one.animals], ""


def lots_below(root: Root, at: datetime) -> list[int]:
    """The lots (keys) in the vats of a wheel, a vat or an order."""
    below = below_root(root, at=at)
    rows = VatLot.objects.filter(vat__in=[vat.pk for vat in below.vats], lot__void=False)
    lots = rows.order_by("lot__opened_at", "lot_id").values_list("lot_id", flat=True)
    return list(dict.fromkeys(lots))[:MOST_LOTS]


def outside_paper(found: File, *, by: Any, at: datetime) -> Paper:
    """The file, for the authority and for the estate's own shelf. ``by``: who makes it."""
    finding = found.finding
    cause, cure = (found.said(one) for one in (OutsideStep.What.CAUSE, OutsideStep.What.CURE))
    missing = []
    if not found.boards:
        missing.append(_("no recall was begun from it"))
    missing += [_("the cause")] if not cause else []
    missing += [_("what is changed")] if not cure else []
    cows = tuple(cow_lines(found.cows))
    return Paper(
        title=_("File of a finding: {substance} in {about_name}").format(
            substance=finding.substance, about_name=finding.about_name
        ),
        stem=f"finding {finding.paper}",
        made_by=name_of(by),
        made_at=at,
        about=(
            _("Told {happened_at} by {who} ({found_by}), paper {paper}.").format(
                happened_at=local(finding.happened_at),
                who=finding.who,
                found_by=finding.get_found_by_display(),
                paper=finding.paper,
            ),
            _("As at {at}.").format(at=local(at)),
        ),
        answer=answer_of(found, len({line.cells[0] for line in cows})),
        missing=tuple(missing) if not found.closed else (),
        parts=(
            Part(FACTS, tuple(fact_lines(found)), _("What was found")),
            Part(
                COWS, cows, _("Cows it may come from"), found.trouble,
                _(NO_COW).format(days=LOOKED_BACK.days),
            ),
            Part(
                RECALLS, tuple(map(recall_line, found.boards)), _("Called back"),
                empty=_("Nothing."),
            ),
            Part(HELD, tuple(hold_lines(found)), _("Held because of it"), empty=_("Nothing.")),
            Part(GONE, tuple(gone_lines(found)), _("Destroyed"), empty=_("Nothing.")),
            Part(STEPS, tuple(map(step_line, found.steps)), _("Steps"), empty=_("None yet.")),
        ),
        cautions=(_(OF_RECALLS), CAUTION),
    )  # fmt: skip


def answer_of(found: File, cows: int) -> str:
    """The file in a sentence or two."""
    state = (
        _("Closed {happened_at}.").format(happened_at=local(found.closed.happened_at))
        if found.closed
        else _("Open.")
    )
    said = [state]
    said += [located_says(board) for board in found.boards]
    said.append(
        _("{many} it may come from.").format(many=many(cows, "cow"))
        if cows
        else _("No cow is known that it may come from.")
    )
    return " ".join(said)


def fact_lines(found: File) -> Iterator[Line]:
    """What they wrote, and the cause and cure that we did."""
    finding = found.finding
    result = joined(
        [finding.result, finding.allowed and _("limit {allowed}").format(allowed=finding.allowed)]
    )
    sampled = day_in_figures(finding.sampled_on) if finding.sampled_on else ""
    facts = (
        (_("Found"), f"{finding.substance} ({finding.get_what_display()})"),
        (_("Result"), result or _("none written")),
        (_("Found in"), finding.about_name),
        (
            _("Their sample"),
            joined([finding.sample, sampled and _("of {sampled}").format(sampled=sampled)])
            or _("none written"),
        ),
        (_("In words"), finding.words),
        (_("Cause"), "; ".join(found.said(OutsideStep.What.CAUSE)) or _("not written yet")),
        (_("Changed"), "; ".join(found.said(OutsideStep.What.CURE)) or _("not written yet")),
    )
    yield from (Line(fact) for fact in facts if fact[1])


def cow_lines(cows: Iterable[CowIn]) -> Iterator[Line]:
    """Cows whose milk is in it and who were withheld then, or treated until shortly before.

    A cow of several lots is told once for each milking.
    """
    milked = {
        (cow.pk, at.milking.started_at, at.lot): (cow, at) for cow in cows for at in cow.milkings
    }
    if not milked:
        return
    moments = [moment for _, moment, _ in milked]
    periods = WithdrawalPeriod.objects.filter(
        animal_id__in={cow for cow, _, _ in milked},
        during__overlap=(min(moments) - LOOKED_BACK, max(moments) + timedelta(seconds=1)),
    )
    by_cow: dict[int, list[WithdrawalPeriod]] = {}
    for period in periods.order_by("animal_id", "during"):
        by_cow.setdefault(period.animal_id, []).append(period)
    for (number, moment, _lot), (cow, at) in sorted(milked.items(), key=lambda one: one[0][1:]):
        for period in by_cow.get(number, []):
            line = cow_line(cow, at, period, moment)
            if line is not None:
                yield line


def cow_line(cow: Any, at: Any, period: Any, milked: datetime) -> Line | None:
    """One cow, one milking, one period; None when it began later or was over long before.

    What is over by then and was no medicine (first milk, a sign of illness) is no news.
    """
    since, until = period.during.lower, period.during.upper
    inside = until is None or until > milked
    if (since is not None and since > milked) or (until and until < milked - LOOKED_BACK):
        return None
    if not inside and period.kind not in TREATED:
        return None
    hours = "" if inside else in_readers_form(f"{(milked - until).total_seconds() / 3600:.1f}")
    return Line(
        (
            cow.name,
            local(milked),
            at.lot,
            local(since) if since else _("nobody knows"),
            local(until) if until else _("nobody knows"),
            _("inside") if inside else hours,
            period.why,
        ),
        url=f"/herd/animals/{cow.uuid}/",
        loud=inside,
    )


def recall_line(board: Board) -> Line:
    return Line(
        (
            local(board.recall.happened_at),
            f"{board.recall.root_name}, {board.recall.get_reach_display()}",
            joined([word_of(board), "" if board.is_over else _("runs")]),
            in_readers_form(f"{len(board.rows):,}"),
            located_says(board),
        ),
        url=board.recall.get_absolute_url(),
        loud=not board.passed,
    )


def hold_lines(found: File) -> Iterator[Line]:
    """Holds written by its recalls, and others on its wheels, with what people decided."""
    numbers = {hold.pk for hold in holds_of(found)}
    rows = Hold.objects.with_outcome().filter(pk__in=numbers).order_by("happened_at", "id")
    decisions = HoldDecision.objects.standing().filter(hold__in=numbers).select_related("by")
    by_hold: dict[int, list[str]] = {}
    for one in decisions.order_by("happened_at", "id"):
        by_hold.setdefault(one.hold_id, []).append(name_of(one.by))
    for hold in rows:
        outcome = str(HoldDecision.Decision(hold.outcome).label) if hold.outcome else _("open")
        by = ", ".join(by_hold.get(hold.pk, []))
        cells = (local(hold.happened_at), hold.words, outcome, by)
        yield Line(cells, url=f"/milk/holds/{hold.uuid}/", loud=not hold.outcome)


def holds_of(found: File) -> Iterator[Hold]:
    wheels = [row.wheel.pk for board in found.boards for row in board.rows]
    for held in open_holds(wheel_ids=wheels).values() if wheels else ():
        yield from (one.hold for one in held)
    for board in found.boards:
        cause = cause_of_hold(board.recall)
        yield from Hold.objects.standing().filter(cause_key__startswith=cause)


def gone_lines(found: File) -> Iterator[Line]:
    for board in found.boards:
        for step in board.steps:
            if step.what == RecallStep.What.DESTROYED and step.wheel is not None:
                kg = "" if step.wheel.kg is None else in_readers_form(f"{step.wheel.kg:.1f}")
                cells = (local(step.happened_at), step.wheel.plate, kg, step.paper)
                yield Line((*cells, name_of(step.by)), url=step.wheel.get_absolute_url())


def step_line(step: OutsideStep) -> Line:
    paper = _("paper {paper}").format(paper=step.paper) if step.paper else ""
    struck = ""
    if step.is_struck and step.struck_at is not None:
        struck = _("{struck_at} by {struck_by}: {struck_reason}").format(
            struck_at=local(step.struck_at),
            struck_by=step.struck_by,
            struck_reason=step.get_struck_reason_display(),
        )
    return Line(
        (
            local(step.happened_at),
            str(step.get_what_display()),
            joined([step.words, paper]),
            name_of(step.by),
        ),
        struck=struck,
        url=f"/entries/outside-steps/{step.uuid}/",
    )

"""Two drills of recalls, one that found everything and one that did not, and butter sent out."""

from datetime import datetime, timedelta
from decimal import Decimal

from config.entries import Stamp
from milk.demo.estate import Estate
from milk.models import Recall, RecallStep, Wheel
from milk.recalls import board_of
from milk.services import products, recalls

What = RecallStep.What
Answer = RecallStep.Answer
OLD_PLATE = "0003002"
MINUTE = timedelta(minutes=1)


def make_recalls(estate: Estate) -> None:
    """Drills of eight and of three days ago, and the butter of the day before yesterday."""
    wheel = Wheel.objects.standing().filter(plate=OLD_PLATE).first()
    if wheel is None:
        return
    run_drill(estate, wheel, estate.now - timedelta(days=8), took=74, lost=1)
    run_drill(estate, wheel, estate.now - timedelta(days=3), took=41, lost=0)
    send_butter(estate)


def stamp(estate: Estate, role: str, at: datetime) -> Stamp:
    return Stamp.now(estate.people[role], at, written_at=at, device="demo")


def run_drill(estate: Estate, wheel: Wheel, began: datetime, *, took: int, lost: int) -> Recall:
    """A drill on all of a wheel's milk: buyers rung, wheels looked for, ``lost`` not there."""
    drill = recalls.record_recall(
        stamp=stamp(estate, "cheesemaker", began),
        root_kind=Recall.Root.WHEEL,
        root=wheel.uuid,
        reach=Recall.Reach.MILK,
        reason="a drill of the quarter",
        drill=True,
    )
    board = board_of(drill, began)
    for number, buyer in enumerate(board.buyers):
        recalls.record_recall_step(
            stamp=stamp(estate, "office", began + (6 + 4 * number) * MINUTE),
            recall=drill,
            what=What.CALLED,
            buyer=buyer.holding,
            answer=Answer.HOLDS,
            spoke_with="the shop",
        )
    here = [row.wheel for row in board.rows if row.sent is None]
    found, missing = here[lost:], here[:lost]
    hand = stamp(estate, "store hand", began + (took - 6) * MINUTE)
    for what, wheels in ((What.FOUND, found), (What.NOT_THERE, missing)):
        if wheels:
            recalls.record_steps(
                stamp=hand.again(),
                recall=drill,
                what=what,
                several=[{"wheel": one} for one in wheels],
            )
    recalls.record_recall_step(
        stamp=stamp(estate, "cheesemaker", began + took * MINUTE),
        recall=drill,
        what=What.ENDED,
        words="shelf numbers painted anew" if lost else "",
    )
    return drill


def send_butter(estate: Estate) -> None:
    """Butter of two days ago, to a shop."""
    products.record_product_out(
        stamp=stamp(estate, "office", estate.now - timedelta(hours=20)),
        what="butter",
        of_day=estate.today - timedelta(days=2),
        buyer=estate.holdings["Brackwater cheese shop"],
        kg=Decimal(14),
        paper="LF-B12",
    )

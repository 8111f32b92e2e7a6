"""Loading the demo estate: everything in one transaction, then what is computed from it."""

from datetime import datetime

from django.db import connection, transaction

from config.days import estate_zone
from feed.services import deadlines
from herd.models import Animal
from herd.services import recordings, withdrawals
from milk.demo import (
    breeding_book,
    cheese_book,
    cupboard,
    grass,
    hall_book,
    herd_book,
    milk_flow,
    people,
    plans,
    recalls,
    store_book,
    story,
    udder_book,
)
from milk.demo.estate import DAYS, SEED, Estate
from milk.models import Tank
from milk.services import lots


def is_loaded() -> bool:
    """Whether the demo estate (or another) stands in the database already."""
    return bool(Tank.objects.exists())


@transaction.atomic
def load(now: datetime, seed: int = SEED, days: int = DAYS) -> Estate:
    """Write the whole estate as at ``now``; the same moment and seed give the same estate."""
    estate = Estate(now=now, zone=estate_zone(), seed=seed, days=days)
    people.make_people(estate)
    people.make_holdings(estate)
    people.make_rules(estate)
    herd_book.make_groups(estate)
    herd_book.make_medicines(estate)
    plans.make_plans(estate)
    herd_book.make_animals(estate)
    herd_book.make_courses(estate)
    cupboard.make_cupboard(estate)
    breeding_book.make_breeding(estate)
    udder_book.make_udders(estate)
    herd_book.make_lost_tag(estate)
    grass.make_grass(estate)
    milk_flow.make_tanks(estate)
    milk_flow.make_milkings(estate)
    milk_flow.make_dairy(estate)
    story.make_old_make(estate)
    cheese_book.make_older_makes(estate)
    hall_book.make_hall(estate)
    compute(estate)
    store_book.make_store(estate)
    cheese_book.make_orders(estate)
    story.make_lot_tests(estate)
    story.strike_a_milking(estate)
    story.strike_a_test(estate)
    cupboard.strike_a_course(estate)
    recalls.make_recalls(estate)
    return estate


def compute(estate: Estate) -> None:
    """Everything that follows from the entries written in bulk."""
    with connection.cursor() as cursor:
        # The planner knows nothing of the rows just written.
        cursor.execute("ANALYZE")
    withdrawals.rebuild_all()
    recordings.set_valid_to(list(Animal.objects.values_list("pk", flat=True)))
    deadlines.recompute_all()
    lots.rebuild_all()

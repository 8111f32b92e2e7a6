"""The treatments the demo's vet keeps ready."""

from decimal import Decimal

from herd.models import TreatmentPlan
from milk.demo.book import entry, write
from milk.demo.estate import Estate
from milk.demo.herd_book import HERE_SINCE

PLANS = (
    # name, diagnosis, product, route, doses, interval, who may give it, what to watch
    (
        "clots, one quarter",
        "mastitis, mild",
        "Demolactin tubes",
        "udder",
        3,
        12,
        "",
        "milk by hand before each tube",
    ),
    (
        "fever and a hard quarter",
        "mastitis, severe",
        "Demoject 120",
        "muscle",
        2,
        24,
        "vet",
        "drinks, stands up, temperature twice a day",
    ),
    ("fever without a place", "fever", "Demoflam", "muscle", 1, 24, "stockman", "eats again"),
)


def make_plans(estate: Estate) -> None:
    """Three plans, as old as the book."""
    start, vet = estate.now - HERE_SINCE, estate.people["vet"]
    write(
        entry(
            TreatmentPlan,
            vet,
            start,
            name=name,
            diagnosis=diagnosis,
            medicine=estate.medicines[product],
            route=route,
            dose=Decimal(1) if route == "udder" else Decimal(20),
            doses=doses,
            interval_hours=interval,
            may_give=may_give,
            watch=watch,
        )
        for name, diagnosis, product, route, doses, interval, may_give, watch in PLANS
    )

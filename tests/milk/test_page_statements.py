"""On the demo estate no page reads more than thirty statements."""

import pytest
from django.utils import timezone

from config.roles import ROLES
from milk.demo.load import load
from tests.bench.pages_bench import LINES, Cost, Visitor, all_pages

pytestmark = pytest.mark.django_db

# Enough for what goes wrong on purpose to be there at any hour.
DAYS = 3


def first_who_may(cost: Cost, visitors: list[Visitor]) -> None:
    """Open a page as the first role that may."""
    for visitor in visitors:
        visitor.visit(cost, 0)
        if cost.roles:
            return


def test_no_page_reads_more_than_its_line() -> None:
    load(timezone.now(), days=DAYS)
    visitors = [Visitor(role) for role in ROLES]
    found = list(all_pages(()))
    for cost in found:
        first_who_may(cost, visitors)
    over = {
        cost.path if cost.name == "today-of" else cost.name: cost.statements
        for cost in found
        if cost.statements > LINES["statements"]
    }
    assert over == {}
    assert sum(bool(cost.roles) for cost in found) > 150

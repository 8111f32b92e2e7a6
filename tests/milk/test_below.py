"""What was carried into what, against networkx, however long the chain of an unwashed tank is."""

import networkx as nx
import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from milk.below import ancestors, and_above, descendants
from tests.factories import milk

pytestmark = pytest.mark.django_db
LOTS = 12
EDGES = st.sets(
    st.tuples(st.integers(0, LOTS - 1), st.integers(0, LOTS - 1)).filter(lambda at: at[0] < at[1]),
    max_size=30,
)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(edges=EDGES, asked=st.sets(st.integers(0, LOTS - 1), max_size=4))
def test_all_that_was_carried_is_found(edges: set[tuple[int, int]], asked: set[int]) -> None:
    with transaction.atomic():
        lots = [milk.bare_lot() for _ in range(LOTS)]
        graph = nx.DiGraph()
        graph.add_nodes_from(lot.pk for lot in lots)
        for parent, lot in edges:
            milk.bare_parent(lots[lot], lots[parent])
            graph.add_edge(lots[parent].pk, lots[lot].pk)
        keys = {lots[number].pk for number in asked}
        above = {key: nx.ancestors(graph, key) | {key} for key in keys}
        assert ancestors(keys) == above
        assert and_above(keys) == set().union(*above.values())
        assert descendants(keys) == keys.union(*(nx.descendants(graph, key) for key in keys))
        transaction.set_rollback(True)


def test_a_long_chain_takes_one_statement() -> None:
    lots = [milk.bare_lot() for _ in range(40)]
    for parent, lot in zip(lots, lots[1:], strict=False):
        milk.bare_parent(lot, parent)
    every = {lot.pk for lot in lots}
    with CaptureQueriesContext(connection) as asked:
        assert ancestors([lots[-1].pk]) == {lots[-1].pk: every}
        assert descendants([lots[0].pk]) == every
    assert len(asked) == 2

"""Knots against networkx, and ways round them."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import pytest
from fulfil_models.cycles import from_the_top, knots, way_round
from hypothesis import given
from hypothesis import strategies as st

Graph = dict[str, list[str]]

_NODES = st.sampled_from("ABCDEFGH")
graphs = st.dictionaries(_NODES, st.lists(_NODES, max_size=4, unique=True), max_size=8)


def as_networkx(graph: Graph) -> nx.DiGraph:
    return nx.DiGraph(graph)


@given(graphs)
def test_knots_are_the_strongly_connected_components_with_a_cycle(graph: Graph) -> None:
    other = as_networkx(graph)
    expected = {
        frozenset(group)
        for group in nx.strongly_connected_components(other)
        if len(group) > 1 or other.has_edge(*(list(group) * 2))
    }
    found = [frozenset(group) for group in knots(graph)]
    assert set(found) == expected
    assert len(found) == len(expected)


@given(graphs)
def test_a_way_round_is_as_short_as_can_be(graph: Graph) -> None:
    other = as_networkx(graph)
    for group in knots(graph):
        way = way_round(graph, group)
        assert way[0] == way[-1] == min(group)
        assert all(other.has_edge(a, b) for a, b in pairwise(way))
        # From the start to each of its children and back: the shortest of these closes the way.
        lengths = [
            nx.shortest_path_length(other, child, way[0]) + 1
            for child in other[way[0]]
            if nx.has_path(other, child, way[0])
        ]
        assert len(way) - 1 == min(lengths)


@given(graphs)
def test_from_the_top_puts_every_node_after_all_that_lead_to_it(graph: Graph) -> None:
    other = as_networkx(graph)
    if not nx.is_directed_acyclic_graph(other):
        with pytest.raises(ValueError, match="knot"):
            from_the_top(graph)
        return
    order = from_the_top(graph)
    assert sorted(order) == sorted(other.nodes)
    place = {node: index for index, node in enumerate(order)}
    assert all(place[a] < place[b] for a, b in other.edges)


def test_depth_is_no_limit() -> None:
    """50,000 levels: far beyond what nested calls could follow."""
    depth = 50_000
    chain = {str(level): [str(level + 1)] for level in range(depth)}
    assert knots(chain) == []
    assert from_the_top(chain) == [str(level) for level in range(depth + 1)]
    chain[str(depth)] = ["0"]
    (group,) = knots(chain)
    assert len(group) == depth + 1

"""Does anything contain itself? Knots of a graph, and a way round each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping


def knots(graph: Mapping[str, Iterable[str]]) -> list[list[str]]:
    """Groups of nodes of which each leads to every other, in time linear in nodes and edges.

    A node that leads to itself is a group of its own; all other single nodes are left out. Groups
    come children before parents. The search keeps its own stack, so depth is no limit.
    """
    number: dict[str, int] = {}
    lowest: dict[str, int] = {}
    open_nodes: list[str] = []
    is_open: set[str] = set()
    found: list[list[str]] = []
    for root in graph:
        if root in number:
            continue
        walk = [(root, iter(graph.get(root, ())))]
        number[root] = lowest[root] = len(number)
        open_nodes.append(root)
        is_open.add(root)
        while walk:
            node, following = walk[-1]
            for child in following:
                if child not in number:
                    number[child] = lowest[child] = len(number)
                    open_nodes.append(child)
                    is_open.add(child)
                    walk.append((child, iter(graph.get(child, ()))))
                    break
                if child in is_open:
                    lowest[node] = min(lowest[node], number[child])
            else:
                walk.pop()
                if walk:
                    parent = walk[-1][0]
                    lowest[parent] = min(lowest[parent], lowest[node])
                if lowest[node] == number[node]:
                    group = [open_nodes.pop()]
                    while group[-1] != node:
                        group.append(open_nodes.pop())
                    is_open.difference_update(group)
                    if len(group) > 1 or node in graph.get(node, ()):
                        found.append(group)
    return found


def way_round(graph: Mapping[str, Iterable[str]], group: Iterable[str]) -> list[str]:
    """A shortest way from the first node of a knot by name back to it, that node at both ends."""
    members = set(group)
    start = min(members)
    came_from: dict[str, str] = {}
    frontier = [start]
    while frontier:
        reached = []
        for node in frontier:
            for child in graph.get(node, ()):
                if child == start:
                    way = [node]
                    while way[-1] != start:
                        way.append(came_from[way[-1]])
                    return [*reversed(way), start]
                if child in members and child not in came_from:
                    came_from[child] = node
                    reached.append(child)
        frontier = reached
    raise ValueError(f"{start} is in no cycle")


def from_the_top(graph: Mapping[str, Iterable[str]]) -> list[str]:
    """All nodes, each after every node that leads to it.

    Raises ValueError for a graph with a knot.
    """
    waiting: dict[str, int] = {}
    for node, children in graph.items():
        waiting.setdefault(node, 0)
        for child in children:
            waiting[child] = waiting.get(child, 0) + 1
    ready = [node for node, above in waiting.items() if above == 0]
    order = []
    while ready:
        node = ready.pop()
        order.append(node)
        for child in graph.get(node, ()):
            waiting[child] -= 1
            if waiting[child] == 0:
                ready.append(child)
    if len(order) < len(waiting):
        raise ValueError("the graph has a knot")
    return order

"""Who gets the scarce parts? A mixed-integer model over flows of parts through points and time.

Every part has a node for each point and moment at which some of it becomes usable. Units flow from
lots into nodes, on in time, along routes (`allocation_flows`), and out to the needs of builds
(`allocation_needs`) and the lines of parts orders (`allocation_lines`). Stations are left out, so
the least cost of this model is a proven lower bound of the whole plan's (each relaxation says so
where it is made), and its lateness tells the search in which order to serve the builds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fulfil_models.allocation_flows import (
    Flows,
    Network,
    a_lane_that_is_used_is_paid,
    points_share_a_cap,
    units_balance_at_a_node,
    write_balances,
    write_months,
    write_moves,
)
from fulfil_models.allocation_lines import (
    Lines,
    a_delivery_that_is_used_is_paid,
    a_line_is_as_late_as_its_last_piece,
    a_whole_line_ships_only_from_a_chosen_point,
    one_kind_fills_a_line,
    one_point_ships_a_whole_line,
    pieces_make_up_a_line,
    write_lines,
)
from fulfil_models.allocation_needs import (
    Needs,
    PriceOfStart,
    a_build_waits_for_a_unit,
    a_build_waits_for_the_last_of_several_units,
    add_lateness,
    draws_make_up_a_need,
    one_way_fills_a_need,
    write_needs,
)
from fulfil_models.allocation_rows import Rows, Rule
from fulfil_models.book import Book, Way
from fulfil_models.solving import LinearAnswer, LinearModel

__all__ = ["RULES", "Allocation", "Builder", "Network", "PriceOfStart"]

RULES: tuple[Rule, ...] = (
    a_lane_that_is_used_is_paid,
    points_share_a_cap,
    one_way_fills_a_need,
    draws_make_up_a_need,
    a_build_waits_for_a_unit,
    a_build_waits_for_the_last_of_several_units,
    one_kind_fills_a_line,
    pieces_make_up_a_line,
    a_line_is_as_late_as_its_last_piece,
    a_whole_line_ships_only_from_a_chosen_point,
    a_delivery_that_is_used_is_paid,
    one_point_ships_a_whole_line,
    units_balance_at_a_node,
)
"""every rule, in the order in which its rows are written"""


@dataclass(slots=True)
class Allocation:
    """The model with the columns one reads the answer from."""

    model: LinearModel
    late: dict[int, int]
    """by task: column of its cost of lateness (and stations, with prices)"""
    chosen: dict[int, list[tuple[Way, int | None]]]
    """by need: ways that fill it wholly, with their binary; None where there is no choice"""
    draws: dict[int, list[tuple[int, int]]]
    """by need: (column, position) of what it may draw when"""
    networks: dict[tuple[str, str], Network]

    def releases(self, answer: LinearAnswer) -> dict[int, int]:
        """By need: position of the last unit that it draws."""
        return {
            need: max((at for column, at in columns if answer.values[column] > 0.5), default=0)
            for need, columns in self.draws.items()
        }

    def late_cells(self, answer: LinearAnswer, book: Book, cell: int) -> dict[int, float]:
        """Lateness of each build in cells, as the model has it."""
        found = {}
        for task in book.tasks:
            column = self.late.get(task.index)
            if column is not None and task.rate:
                found[task.index] = answer.values[column] / float(task.rate) / cell
        return found


class Builder:
    """Builds the model for a book.

    Parameters
    ----------
    price: replaces plain lateness where stations are priced.
    rules: those of `RULES` that the model keeps; fewer of them never raise its least cost.
    """

    def __init__(
        self, book: Book, price: PriceOfStart | None = None, rules: Iterable[Rule] = RULES
    ) -> None:
        self.book = book
        self.price = price
        self.rules = tuple(rules)

    def build(self, bases: dict[int, float] | None = None) -> Allocation:
        """All columns, then all rows. `bases` is the least cost of each build with nothing short,
        by task."""
        model = LinearModel()
        lateness = add_lateness(self.book, model, bases)
        flows = Flows(self.book, model)
        needs = Needs(self.book, flows, lateness, self.price)
        lines = Lines(self.book, flows)
        rows = Rows(model, self.rules)
        write_moves(rows, flows)
        write_months(rows, flows)
        write_needs(rows, needs.fillings)
        write_lines(rows, lines.shippings)
        write_balances(rows, flows)
        return Allocation(model, lateness.late, needs.chosen, dict(needs.draws), flows.networks)

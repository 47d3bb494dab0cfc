"""Names as people type them."""

from __future__ import annotations

import pytest

from fulfil.errors import Refused
from fulfil.usecases.names import meant

KNOWN = ["ENG-A", "ENG-B", "bolt", "BOLT"]


def test_capitals_do_not_matter_where_one_name_is_meant() -> None:
    assert meant("part", "eng-a", KNOWN) == "ENG-A"
    assert meant("part", "ENG-A", KNOWN) == "ENG-A"


def test_a_name_as_it_stands_goes_first() -> None:
    assert meant("part", "bolt", KNOWN) == "bolt"
    assert meant("part", "BOLT", KNOWN) == "BOLT"


def test_two_that_differ_by_capitals_alone_are_not_guessed_between() -> None:
    with pytest.raises(Refused, match="no part is called Bolt"):
        meant("part", "Bolt", KNOWN)


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(Refused, match="no part is called ENG-Z") as refused:
        meant("part", "ENG-Z", KNOWN)
    assert "ENG-A" in str(refused.value.remedy)

"""Does the engine drive the pump? The arithmetic of ratings where an alternate is used.

Hydraulic power in horsepower is flow x pressure / 1714 (US gallons per minute, pounds per square
inch); the power wanted at the shaft is that over the pump's efficiency. 1714 is the usual rounding
of 33 000 ft.lbf/min per hp x 12 in/ft / 231 in3 per gallon = 1714.29.

The check compares rated figures and approves nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from fulfil_models.cells import MICRO, MILLI
from fulfil_models.plan import Peg
from fulfil_models.tables import Rating

PUMP_DIVISOR = 1714
ASSUMED_EFFICIENCY = Fraction(85, 100)
"""taken for a pump whose efficiency is not rated, and said so"""

POWER = "shaft_power"
"""what an engine delivers"""
INPUT_POWER = "input_power"
"""what a driven machine other than a pump takes, e.g. a generator end"""
FLOW, PRESSURE, EFFICIENCY = "flow", "pressure", "efficiency"
"""what a pump is rated by"""
MUST_BE_EQUAL = frozenset({"speed", "shaft_diameter", "voltage"})
"""of every other rating an alternate has to have at least as much"""

_IN_HP = {"hp": Fraction(1), "kw": Fraction(10**9, 745_699_872)}
"""1 hp = 550 ft.lbf/s = 745.699872 W"""
_IN_GPM = {"gpm": Fraction(1), "l/min": Fraction(10**9, 3_785_411_784)}
"""1 US gallon = 3.785411784 L"""
_IN_PSI = {"psi": Fraction(1), "bar": Fraction(10**9, 68_947_573)}
"""1 psi = 0.068947573 bar"""
_SHARE = {"1": Fraction(1), "share": Fraction(1), "%": Fraction(1, 100)}
_SYSTEMS = (_IN_HP, _IN_GPM, _IN_PSI, _SHARE)
"""units that can be compared with each other stand in the same one"""

CAUTION = (
    "a check of rated figures approves nothing: engineering approves shaft power, speed, shaft and "
    "coupling, pressure rating and the emission rules of the ship-to region"
)


class Verdict(StrEnum):
    FITS = "fits"
    DOES_NOT_FIT = "does_not_fit"
    NOT_KNOWN = "not_known"


@dataclass(frozen=True, slots=True)
class FitLine:
    """One comparison: what is wanted, what there is, and whether it is enough."""

    what: str
    wanted: Fraction | None
    there: Fraction | None
    unit: str
    verdict: Verdict
    how: str
    """the arithmetic in words and figures"""


@dataclass(frozen=True, slots=True)
class FitCheck:
    """What the ratings say about an alternate in one build."""

    build: str
    called: str
    used: str
    lines: tuple[FitLine, ...]
    caution: str = CAUTION

    @property
    def verdict(self) -> Verdict:
        """The worst of the lines; not known where there is nothing to compare."""
        found = {line.verdict for line in self.lines}
        for verdict in (Verdict.DOES_NOT_FIT, Verdict.NOT_KNOWN):
            if verdict in found:
                return verdict
        return Verdict.FITS if found else Verdict.NOT_KNOWN


Ratings = Mapping[str, Mapping[str, Rating]]
"""by part, then by what is rated"""


def shaft_power_hp(
    flow_gpm: Fraction | int, pressure_psi: Fraction | int, efficiency: Fraction | int = 1
) -> Fraction:
    """Power a pump takes at its shaft, in hp; efficiency 1 gives the hydraulic power.

    Raises ValueError for an efficiency that is not above 0 and at most 1.
    """
    if not 0 < efficiency <= 1:
        raise ValueError("an efficiency is above 0 and at most 1")
    return Fraction(flow_gpm) * Fraction(pressure_psi) / PUMP_DIVISOR / Fraction(efficiency)


def ratings_by_part(rows: Iterable[Rating]) -> dict[str, dict[str, Rating]]:
    by: defaultdict[str, dict[str, Rating]] = defaultdict(dict)
    for row in rows:
        by[row.part][row.rating] = row
    return dict(by)


def figure(value: Fraction) -> str:
    """A figure to at most two decimal places."""
    text = f"{float(round(value, 2)):.2f}"
    return text.rstrip("0").rstrip(".")


def _value(
    ratings: Ratings, part: str, rating: str, units: Mapping[str, Fraction]
) -> Fraction | None:
    row = ratings.get(part, {}).get(rating)
    if row is None or _unit(row) not in units:
        return None
    return Fraction(row.value_micro, MICRO) * units[_unit(row)]


def _unit(row: Rating) -> str:
    """Unit of a rating for comparisons, in small letters."""
    return row.unit.strip().lower()


def _in_unit_of(row: Rating, other: Rating) -> Fraction | None:
    """What `other` says in the unit of `row`; None where one cannot be turned into the other."""
    value = Fraction(other.value_micro, MICRO)
    if _unit(row) == _unit(other):
        return value
    for factors in _SYSTEMS:
        if _unit(row) in factors and _unit(other) in factors:
            return value * factors[_unit(other)] / factors[_unit(row)]
    return None


def _is_pump(ratings: Ratings, part: str) -> bool:
    rated = ratings.get(part, {})
    return FLOW in rated and PRESSURE in rated


def _is_driven(ratings: Ratings, part: str) -> bool:
    return _is_pump(ratings, part) or INPUT_POWER in ratings.get(part, {})


def _is_engine(ratings: Ratings, part: str) -> bool:
    return POWER in ratings.get(part, {}) and not _is_driven(ratings, part)


def check_fit(
    ratings: Ratings, build: str, called: str, used: str, contents: Mapping[str, int]
) -> FitCheck | None:
    """Fit check of the part `used` where `called` was called for.

    Parameters
    ----------
    contents: every part the build really gets and how many of it, in thousandths.

    Returns
    -------
    None where neither part has ratings: nothing is claimed then.
    """
    if called not in ratings and used not in ratings:
        return None
    lines: list[FitLine] = []
    if _is_engine(ratings, used) or _is_driven(ratings, used):
        driven = sorted(part for part in contents if _is_driven(ratings, part))
        engines = sorted(part for part in contents if _is_engine(ratings, part))
        if driven and engines:
            lines.append(_drive(ratings, engines, driven, contents))
    lines += _compared(ratings, called, used)
    return FitCheck(build, called, used, tuple(lines))


def fit_checks(ratings: Ratings, build: str, pegs: Iterable[Peg]) -> tuple[FitCheck, ...]:
    """Fit checks of all that stands in for something else in a build.

    `pegs` are those of the whole build: what drives and what is driven is looked for among them.
    """
    pegs = tuple(pegs)
    contents = contents_of(pegs)
    swaps = sorted({(peg.part, peg.used) for peg in pegs if peg.used != peg.part})
    checks = (check_fit(ratings, build, called, used, contents) for called, used in swaps)
    return tuple(check for check in checks if check is not None)


def contents_of(pegs: Iterable[Peg]) -> dict[str, int]:
    """Every part that pegs draw, and how many of it, in thousandths."""
    contents: defaultdict[str, int] = defaultdict(int)
    for peg in pegs:
        contents[peg.used] += peg.quantity_milli
    return dict(contents)


def _drive(
    ratings: Ratings, engines: list[str], driven: list[str], contents: Mapping[str, int]
) -> FitLine:
    """Power of all the build's engines against what all that they drive takes."""
    wanted = _total(ratings, driven, contents, _power_taken)
    there = _total(ratings, engines, contents, _power_given)
    return FitLine(
        "shaft power",
        wanted[0],
        there[0],
        "hp",
        _verdict(wanted[0], there[0]),
        f"needs {wanted[1]}; has {there[1]}",
    )


def _total(
    ratings: Ratings,
    parts: list[str],
    contents: Mapping[str, int],
    power_of: Callable[[Ratings, str], tuple[Fraction | None, str]],
) -> tuple[Fraction | None, str]:
    """Power of some parts together, in hp, and how it adds up; None where one is not known."""
    total: Fraction | None = Fraction(0)
    steps: list[str] = []
    for part in parts:
        power, how = power_of(ratings, part)
        count = Fraction(contents[part], MILLI)
        if power is None or total is None:
            total = None
        else:
            total += power * count
        steps.append(how if count == 1 else f"{figure(count)} of {how}")
    return total, " and ".join(steps)


def _power_taken(ratings: Ratings, part: str) -> tuple[Fraction | None, str]:
    """Power a pump or another driven machine takes at its shaft, in hp."""
    if not _is_pump(ratings, part):
        power = _value(ratings, part, INPUT_POWER, _IN_HP)
        return power, f"{part}: {_or_unusable(power)}"
    flow = _value(ratings, part, FLOW, _IN_GPM)
    pressure = _value(ratings, part, PRESSURE, _IN_PSI)
    rated = _value(ratings, part, EFFICIENCY, _SHARE)
    efficiency = ASSUMED_EFFICIENCY if rated is None else rated
    if flow is None or pressure is None or not 0 < efficiency <= 1:
        return None, f"{part}: {_or_unusable(None)}"
    power = shaft_power_hp(flow, pressure, efficiency)
    return power, (
        f"{part}: {figure(flow)} gpm × {figure(pressure)} psi ÷ {PUMP_DIVISOR} ÷ "
        f"{figure(efficiency)}{' (assumed)' if rated is None else ''} = {figure(power)} hp"
    )


def _power_given(ratings: Ratings, part: str) -> tuple[Fraction | None, str]:
    power = _value(ratings, part, POWER, _IN_HP)
    return power, f"{part}: {_or_unusable(power)}"


def _or_unusable(power: Fraction | None) -> str:
    return "ratings that cannot be used" if power is None else f"{figure(power)} hp"


def _verdict(wanted: Fraction | None, there: Fraction | None) -> Verdict:
    if wanted is None or there is None:
        return Verdict.NOT_KNOWN
    return Verdict.FITS if there >= wanted else Verdict.DOES_NOT_FIT


def _compared(ratings: Ratings, called: str, used: str) -> list[FitLine]:
    """Every rating of the part called for against that of the part used, in the unit of the first.

    Some have to be the same; of the rest the alternate has to have at least as much.
    """
    lines = []
    for rating, row in sorted(ratings.get(called, {}).items()):
        other = ratings.get(used, {}).get(rating)
        wanted = Fraction(row.value_micro, MICRO)
        there = None if other is None else _in_unit_of(row, other)
        if there is None:
            why = "has none" if other is None else f"is in {other.unit}"
            verdict = Verdict.NOT_KNOWN
        else:
            why = f"{figure(there)} {row.unit}"
            enough = there == wanted if rating in MUST_BE_EQUAL else there >= wanted
            verdict = Verdict.FITS if enough else Verdict.DOES_NOT_FIT
        lines.append(
            FitLine(
                rating,
                wanted,
                there,
                row.unit,
                verdict,
                f"{called} {figure(wanted)} {row.unit}; {used} {why}",
            )
        )
    return lines

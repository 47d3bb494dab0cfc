"""Parts' needs and balances as a picture: an SVG file that needs nothing but itself."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from html import escape
from pathlib import Path

from fulfil_models.cover import PartCover, PeriodCover

from fulfil.errors import Refused
from fulfil.render import words
from fulfil.render.chart import balances, bounds
from fulfil.usecases.cover import CoverAnswer

WIDTH = 960
LEFT, RIGHT = 90, 20
HEADER, CAPTION, GAP, FOOT = 76, 34, 16, 26
TALL, LOW = 320, 96
"""height of the only panel, and of one among several"""
LABEL_ROOM = 64
BAR_SHARE = 0.7
LINES = (
    ("stated dates", "#1f3b73", ""),
    ("50 % dates", "#b35900", "7 4"),
    ("90 % dates", "#a3123a", "2 3"),
)
FIRM, FORECAST = "#5b6b7a", "#c3ccd4"
STYLE = "font-family:sans-serif;font-size:12px;fill:#222"
NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
LOOKED_AT = 4096
"""bytes at the beginning of a file that tell whether it is an SVG"""


def write_svg(path: Path, text: str) -> None:
    """Raises Refused where something else than an SVG is there, or the file cannot be written."""
    try:
        if path.exists() and not _is_svg(path):
            raise Refused(f"{path} is there already and is no SVG", "name another file for --svg")
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise Refused(
            f"{path} cannot be written: {error.strerror}", "name a file in a folder that is there"
        ) from None


def _is_svg(path: Path) -> bool:
    if not path.is_file():
        return False
    with path.open("rb") as file:
        begin = file.read(LOOKED_AT).lstrip(b"\xef\xbb\xbf").lstrip()
    return begin.startswith(b"<svg") or (begin.startswith(b"<?xml") and b"<svg" in begin)


def picture(found: CoverAnswer) -> str:
    """The picture of a part, or of a family with one panel for each part."""
    rows = found.rows
    height = TALL if found.asked.part is not None else LOW
    total = HEADER + len(rows) * (CAPTION + height + GAP) + FOOT
    what = found.asked.part or f"family {found.asked.family}"
    title = f"Cover of {what} until {found.until}"
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {total}" width="{WIDTH}" '
        f'height="{total}" role="img" aria-labelledby="title desc">',
        f'<title id="title">{_text(title)}</title>',
        f'<desc id="desc">{_text(_description(found))}</desc>',
        f'<rect width="{WIDTH}" height="{total}" fill="#fff"/>',
        f'<g style="{STYLE}">',
        f'<text x="{LEFT}" y="24" font-size="16">{_text(title)}</text>',
        *_legend(),
    ]
    top = HEADER
    for row in rows:
        lines += _panel(row, found, top, height)
        top += CAPTION + height + GAP
    if rows:
        lines += _names(rows[0].periods, top + 4)
    return "\n".join([*lines, "</g>", "</svg>", ""])


def _description(found: CoverAnswer) -> str:
    told = [
        f"Plan {found.basis.plan}, planning date {found.basis.as_of}. For each "
        f"{'week' if found.asked.weeks else 'month'}, bars show firm and forecast needs, and lines "
        "what is left by the stated, 50 % and 90 % dates of what is on order; new orders are not "
        "counted."
    ]
    told += [f"{row.part}: {_caption(row, found)}." for row in found.rows]
    return " ".join(told)


def _caption(row: PartCover, found: CoverAnswer) -> str:
    if not row.runs_out:
        return f"does not run out by {found.until}"
    outlooks = (row.stated, row.learnt_50, row.learnt_90)
    runs = ", ".join(
        f"{words.day(outlook.runs_out_on)} ({name})"
        for outlook, (name, _, _) in zip(outlooks, LINES, strict=True)
    )
    if row.order_by is None:
        last = "nobody supplies it"
    elif row.order_by < found.basis.as_of:
        last = f"last day to order passed since {row.order_by}"
    else:
        last = f"last day to order {row.order_by}"
    return f"runs out {runs}; {last}"


def _legend() -> Iterator[str]:
    x = LEFT
    for name, fill in (("firm needs", FIRM), ("forecast needs", FORECAST)):
        yield f'<rect x="{x}" y="40" width="18" height="12" fill="{fill}" stroke="{FIRM}"/>'
        yield f'<text x="{x + 24}" y="51">{name}</text>'
        x += 140
    for name, colour, dashes in LINES:
        yield (
            f'<line x1="{x}" y1="46" x2="{x + 30}" y2="46" stroke="{colour}" stroke-width="2.5" '
            f'stroke-dasharray="{dashes}"/>'
        )
        yield f'<text x="{x + 36}" y="51">left, {name}</text>'
        x += 160


def _panel(row: PartCover, found: CoverAnswer, top: int, height: int) -> Iterator[str]:
    name = f"{row.part}{f' {row.description}' if row.description else ''}"
    yield f'<text x="{LEFT}" y="{top + 12}" font-weight="bold">{_text(name)}</text>'
    yield f'<text x="{LEFT}" y="{top + 27}">{_text(_caption(row, found))}</text>'
    low, high = bounds(row.periods)
    most = max(period.firm_milli + period.forecast_milli for period in row.periods)
    high = max(high, most)
    begin = top + CAPTION

    def y(milli: int) -> float:
        share = (high - milli) / (high - low) if high > low else 1.0
        return begin + share * height

    step = (WIDTH - LEFT - RIGHT) / len(row.periods)
    yield (
        f'<rect x="{LEFT}" y="{begin}" width="{WIDTH - LEFT - RIGHT}" height="{height}" '
        'fill="none" stroke="#bbb"/>'
    )
    for milli in sorted({low, 0, high}):
        text = f"{words.quantity(milli)} {row.unit if milli == high else ''}".strip()
        yield (
            f'<text x="{LEFT - 8}" y="{y(milli) + 4:.1f}" text-anchor="end">{_text(text)}</text>'
        )
    for number, period in enumerate(row.periods):
        yield from _bars(period, LEFT + number * step, step, y)
    yield (
        f'<line x1="{LEFT}" y1="{y(0):.1f}" x2="{WIDTH - RIGHT}" y2="{y(0):.1f}" stroke="#222"/>'
    )
    for kind, (name, colour, dashes) in enumerate(LINES):
        points = [f"{LEFT},{y(row.on_hand_milli):.1f}"]
        points += [
            f"{LEFT + (number + 1) * step:.1f},{y(balances(period)[kind]):.1f}"
            for number, period in enumerate(row.periods)
        ]
        yield (
            f'<polyline points="{" ".join(points)}" fill="none" stroke="{colour}" '
            f'stroke-width="2.5" stroke-dasharray="{dashes}"><title>left by {name}</title>'
            "</polyline>"
        )


def _bars(
    period: PeriodCover, left: float, step: float, y: Callable[[int], float]
) -> Iterator[str]:
    both = period.firm_milli + period.forecast_milli
    x, width = left + step * (1 - BAR_SHARE) / 2, step * BAR_SHARE
    told = (
        f"{period.period}: firm {words.quantity(period.firm_milli)}, forecast "
        f"{words.quantity(period.forecast_milli)}"
    )
    for begin, end, fill in ((0, period.firm_milli, FIRM), (period.firm_milli, both, FORECAST)):
        if end > begin:
            yield (
                f'<rect x="{x:.1f}" y="{y(end):.1f}" width="{width:.1f}" '
                f'height="{y(begin) - y(end):.1f}" fill="{fill}" stroke="{FIRM}">'
                f"<title>{_text(told)}</title></rect>"
            )


def _names(periods: Sequence[PeriodCover], y: int) -> Iterator[str]:
    """Names of periods under the last panel, so many as have room."""
    step = (WIDTH - LEFT - RIGHT) / len(periods)
    every = max(1, -(-LABEL_ROOM // int(max(step, 1))))
    for number in range(0, len(periods), every):
        x = LEFT + (number + 0.5) * step
        yield f'<text x="{x:.1f}" y="{y}" text-anchor="middle">{periods[number].period}</text>'


def _text(text: str) -> str:
    return escape(NOT_IN_XML.sub(" ", text))

"""What rated figures say of a part in the place of another."""

from __future__ import annotations

from collections.abc import Sequence

from fulfil_models.fit import FitCheck, Verdict

from fulfil.render.text import paragraph

APPROVAL = (
    "an alternate or another option needs approval by engineering for this machine: shaft power, "
    "speed, shaft and coupling, pressure rating, emission rules of the region it ships to"
)
VERDICTS = {
    Verdict.FITS: "fits",
    Verdict.DOES_NOT_FIT: "DOES NOT FIT",
    Verdict.NOT_KNOWN: "not known",
}


def fit_lines(checks: Sequence[FitCheck], width: int) -> list[str]:
    """Lines of fit checks, an empty one before each."""
    out: list[str] = []
    for check in checks:
        out += ["", f"fit check: {check.used} in place of {check.called}"]
        if not check.lines:
            out.append("  nothing to compare: one of them has no ratings")
        for line in check.lines:
            text = f"  {line.what.replace('_', ' ')}: {VERDICTS[line.verdict]} ({line.how})"
            out += paragraph(text, width, "    ")
    return out

"""Names as people type them: which of those known is meant?"""

from __future__ import annotations

from collections.abc import Iterable

from fulfil.usecases.basis import refuse_unknown


def meant(kind: str, name: str, known: Iterable[str]) -> str:
    """The known name that is typed; capitals do not matter where only one name is meant.

    Raises Refused for a name that is not known, with those that look like it.
    """
    names = list(known)
    if name in names:
        return name
    alike = {other for other in names if other.casefold() == name.strip().casefold()}
    if len(alike) == 1:
        return alike.pop()
    raise refuse_unknown(kind, name, names)

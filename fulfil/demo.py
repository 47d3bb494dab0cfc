"""Where the demo scenario is: packaged with the program, or in its source."""

from __future__ import annotations

from pathlib import Path

from fulfil.errors import Refused


def demo_folder() -> Path:
    """Folder of the demo data set.

    An editable install has no copy inside the package; the checkout next to it has the original.
    Raises Refused where there is neither.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "_demo", package.parent / "data" / "demo"):
        if (folder / "builds.csv").is_file():
            return folder
    raise Refused("the demo scenario is not part of this installation", "install fulfil again")

"""A data set planned twice by the command line, once for a whole file of tests."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fulfil_models.tables import Dataset
from program import Run

from fulfil.exchange.writing import write_folder


@dataclass(frozen=True, slots=True)
class TwoPlans:
    """The first plan is as the data have it, the second with some words more.

    Attributes
    ----------
    folder: in which what is made is kept.
    words: options of the second plan.
    """

    folder: Path
    data: Dataset
    words: tuple[str, ...]

    def copy_to(self, folder: Path, run: Run) -> None:
        """Puts the database with both plans into a folder, in which `run` works."""
        made = self.folder / "fulfil.db"
        if not made.exists():
            write_folder(self.data, folder / "data")
            assert run("load", str(folder / "data")).code == 0
            for number, words in enumerate(((), self.words), 1):
                ran = run("plan", "--seconds", "1", *words, "--json")
                assert ran.code == 0, ran.err
                self._file(number, "json").write_text(ran.out, encoding="utf-8")
                self._file(number, "err").write_text(ran.err, encoding="utf-8")
            shutil.copy(folder / "fulfil.db", made)
        shutil.copy(made, folder / "fulfil.db")

    def _file(self, number: int, kind: str) -> Path:
        return self.folder / f"{number}.{kind}"

    def text(self, number: int) -> str:
        """What was printed when a plan was made, as JSON."""
        return self._file(number, "json").read_text(encoding="utf-8")

    def document(self, number: int) -> dict[str, Any]:
        """The same, read."""
        found: dict[str, Any] = json.loads(self.text(number))
        return found

    def notes(self, number: int) -> str:
        """What was noted when a plan was made."""
        return self._file(number, "err").read_text(encoding="utf-8")

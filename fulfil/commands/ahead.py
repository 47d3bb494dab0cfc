"""Commands for purchasing ahead of a shortage: leadtimes, cover, buy, chase, ration."""

from __future__ import annotations

from collections.abc import Callable

import typer


def register(app: typer.Typer) -> None:
    commands: tuple[Callable[..., None], ...] = ()
    for command in commands:
        app.command()(command)

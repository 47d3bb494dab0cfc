"""Runs the program as `python -m fulfil`."""

from __future__ import annotations

from fulfil.app import main

main()

"""Data sets as files: folders of CSV files and workbooks, in and out."""

from fulfil.exchange.errors import ExchangeError
from fulfil.exchange.loading import load_rows, read_path
from fulfil.exchange.writing import write_folder, write_template, write_workbook

__all__ = [
    "ExchangeError",
    "load_rows",
    "read_path",
    "write_folder",
    "write_template",
    "write_workbook",
]

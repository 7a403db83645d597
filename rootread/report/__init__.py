"""Pictures, tables and the report."""

from rootread.report.console import walls_text
from rootread.report.counsel import advice_items
from rootread.report.crops import run_captions
from rootread.report.embed import jpeg
from rootread.report.page import page, page_parts
from rootread.report.picture import Drawing, PlanePictures, draw_plane, draw_sheets, draw_wall
from rootread.report.section import wall_section
from rootread.report.tables import csv_head, csv_rows, rows_of, table_csv
from rootread.report.traces import traces_json
from rootread.schema import TABLES

__all__ = [
    "TABLES",
    "Drawing",
    "PlanePictures",
    "advice_items",
    "csv_head",
    "csv_rows",
    "draw_plane",
    "draw_sheets",
    "draw_wall",
    "jpeg",
    "page",
    "page_parts",
    "rows_of",
    "run_captions",
    "table_csv",
    "traces_json",
    "wall_section",
    "walls_text",
]

"""Pictures, tables and the report."""

from rootread.report.console import walls_text
from rootread.report.counsel import advice_items
from rootread.report.embed import jpeg
from rootread.report.page import page
from rootread.report.picture import draw_wall
from rootread.report.section import wall_section
from rootread.report.tables import rows_of, table_csv
from rootread.report.traces import traces_json
from rootread.schema import TABLES

__all__ = [
    "TABLES",
    "advice_items",
    "draw_wall",
    "jpeg",
    "page",
    "rows_of",
    "table_csv",
    "traces_json",
    "wall_section",
    "walls_text",
]

"""A local page to look at readings, mend them and hand over the report."""

from rootread.desk.state import Desk

__all__ = ["Desk"]

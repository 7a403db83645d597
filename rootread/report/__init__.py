"""Pictures, tables and the report."""

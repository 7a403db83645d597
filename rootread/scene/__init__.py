"""Make walls with exact truth."""

"""Measure each root and the wall."""

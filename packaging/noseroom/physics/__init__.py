"""Formulas, pure: arrays in and out, units in the names, sources beside them."""

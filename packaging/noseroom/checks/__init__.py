"""The checks: one module a question."""

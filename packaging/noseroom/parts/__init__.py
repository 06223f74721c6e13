"""The parts of a nose: one module a part, one frozen class a part."""

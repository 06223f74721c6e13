"""The version, alone in its module so that packaging tools can read it without importing."""

__version__ = "0.1.0"

"""The envelope file: what a builder may say, and reading it."""

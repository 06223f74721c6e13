"""Numbers of standards and of the trade, each with where it comes from."""

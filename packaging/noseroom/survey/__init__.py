"""From tape-measure readings to places: features, readings, their adjustment and their slips."""

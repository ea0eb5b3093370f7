"""Pure functions on numbers: growth, survival, stocking and flow, each with its source."""

"""How does water behave? Pure formulas: SI scalars or arrays in, the same out; no clock, no files, no plant."""

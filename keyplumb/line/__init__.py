"""A simulated line: its units recorded, inspected, and what was found held against the truth."""

"""A gauge study at the bench: its plan, its presses, and what they are held against."""

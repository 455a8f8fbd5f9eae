"""Numbers from strokes at several speeds, partial lifts and repetitions."""

"""Results as tables for other programs, and as files of the common formats."""

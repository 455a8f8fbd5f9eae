"""The commands, one module each: NAME, SUMMARY, EXAMPLE, `add_arguments` and `run`. Heavy imports wait in `run`."""

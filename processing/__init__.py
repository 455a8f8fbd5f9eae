"""From recording to numbers: pure steps, no port and no screen. `pipeline.py` is the whole analysis on one page."""

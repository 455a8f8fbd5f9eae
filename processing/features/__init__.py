"""What is reported about a key: `table.py` lists it, the other modules measure it, one small function a number."""

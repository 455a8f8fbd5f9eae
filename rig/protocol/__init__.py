"""bytes <-> messages, without a port, a clock or a thread.

`messages.py` says what can be said, `table.py` how it is packed, `frames.py` how a frame is found in a stream of bytes.
"""

"""The bench as its cable shows it: the protocol and the virtual rig. Imports nothing else of ours."""

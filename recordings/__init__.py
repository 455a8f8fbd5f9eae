"""What a recording is, in memory and on disk. Imports nothing else of ours."""

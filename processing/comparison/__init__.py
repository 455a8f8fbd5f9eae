"""Two or more keyboards side by side: what differs, by how much, how surely, and whether a hand may notice."""

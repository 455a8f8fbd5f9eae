"""Units one after another: what changes along a line, in numbers, sentences and charts."""

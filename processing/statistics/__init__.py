"""Statistics of one keyboard: trends, evenness, steps, keys that stand out, drift; naturals and sharps apart."""

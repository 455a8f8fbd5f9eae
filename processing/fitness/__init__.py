"""Is the rig fit, before a survey: what a trial shows of its samples, its noise, its zero, its motion and its signs."""

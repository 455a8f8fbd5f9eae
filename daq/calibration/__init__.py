"""From cable to readings of a calibration: a cell that has settled, presses on a reference, by motor or by hand."""

"""Is the rig fit for the limits: crossed studies, bias, stability, several rigs."""

"""What happens at the bench when a rig is calibrated: questions to the person, readings, the record and its report."""

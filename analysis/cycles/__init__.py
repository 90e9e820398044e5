"""From steps to the runs of one load: which load, its starts and stops, and what each run was like."""

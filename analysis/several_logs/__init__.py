"""Several logs of one site or a fleet: compared, day by day, before and after; the whole report."""

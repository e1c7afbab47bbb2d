"""The command line: one door to the job."""

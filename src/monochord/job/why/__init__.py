"""Why every number of a result is what it is: names, sums of the job's own steps, the rooms' sums, and rows of files."""

"""The steps of the job, composed from the rooms; clock, ids and folders enter here."""

"""One module a study; each ends with its STUDY."""

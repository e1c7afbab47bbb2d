"""Files: a laboratory's own files read through its description into the nouns of the campaign; faults gathered with their place."""

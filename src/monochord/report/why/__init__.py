"""A number unfolded, printed: the sum as lines of text, as a page that opens line by line, and as provenance for machines."""

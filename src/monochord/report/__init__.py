"""The report: words, pictures and the result document, from results only."""

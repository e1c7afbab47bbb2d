"""The closures of a fleet for people and programs: words, document, charts, page."""

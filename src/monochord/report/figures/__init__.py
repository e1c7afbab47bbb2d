"""The pictures of a page, each from nouns alone."""

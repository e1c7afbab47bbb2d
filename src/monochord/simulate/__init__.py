"""A virtual girder with its bench, its ride and its tunnel, where the truth is known.

Takes a girder, a wire, an instrument and a random generator; gives the nouns that a laboratory
would have handed over and, beside them, what was true. All its numbers are invented data.
"""

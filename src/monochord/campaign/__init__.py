"""The nouns, frozen: what is given about one girder, and what is found from it.

``given`` holds what people and instruments said, ``found`` what Monochord concluded; both in SI and
in the girder frame unless a field says otherwise. Nothing here reads, computes or draws.
"""

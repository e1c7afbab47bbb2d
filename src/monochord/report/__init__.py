"""The report: words, pictures and the result document, from results only.

Takes a :class:`~monochord.campaign.found.result.Result`; gives text, one HTML page and one JSON
document. Nothing is computed here that a result does not already hold.
"""

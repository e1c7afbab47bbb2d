"""Packages: the whole record of one girder in a folder of open formats (BagIt, RFC 8493), written, checked and taken in."""

"""The page in a package that tells a stranger what it holds and how to prove it."""

from __future__ import annotations

from monochord.store.package.index import Facts

TEXT = """\
THE RECORD OF ONE GIRDER
========================

This folder holds all that was recorded about the girder {girder!r} of a storage
ring: a rigid beam that carries magnets whose magnetic axes must lie on one line
to some hundredths of a millimetre. It was written on {made_at} (UTC)
by {by} on {device} with the program {program}.

Nothing here needs that program. All files are plain text in UTF-8 (JSON, CSV),
or the very files that instruments wrote.


What is where
-------------
data/entries.jsonl   the entries, oldest first, one in each line ({entries} of them)
data/files.csv       which file is which: sha256, size, place here, path and entry
data/files/          the files that were measured or read, byte for byte
data/results/        the result of each evaluation: result.json, and tables as CSV
                     with the unit of each column in its head;
                     result.schema.json tells what every key means, with units
data/signatures/     who signed which result, see below
data/package.json    where this package comes from
bag-info.txt, bagit.txt, manifest-*.txt, tagmanifest-*.txt
                     the folder is a "bag" as RFC 8493 describes it

All quantities are in SI units (metres, radians, kelvin or as the head says) in the
frame of the girder: z along the beam, y up, x to the left when looking along z.


Is it whole?
------------
In this folder, with tools that every system has:
    sha256sum -c tagmanifest-sha256.txt
    sha256sum -c manifest-sha256.txt
Any program for bags (RFC 8493) does the same. A file that no manifest lists does
not belong here.


The entries
-----------
Each line of entries.jsonl is one JSON object with three parts:
  entry    what was stated: id, kind, subject, made_at, made_by, device, replaces, body
  content  sha256 of the JSON list [id, kind, subject, made_at, made_by, device, replaces, body]
  chain    its place in the record that it comes from: number, kept_at, previous, hash;
           hash is the sha256 of the JSON list [previous, number, kept_at, content]
JSON is spelled for hashing with keys in the order of their letters' numbers, without
blanks, letters as they are, in UTF-8. An entry is never changed: one that corrects another names it
under "replaces". Between the entries of this girder stood entries of others, so
numbers have gaps; neighbours are linked by "previous".
In the body of a run, "document" is the sha256 of its result; files.csv tells where that stands.


The signatures
--------------
Each folder in data/signatures holds
  statement.json  the text that was signed: what (the entry's id and its content, the sha256
                  of the result, the counts of verdicts), who, in which role, when,
                  by which rule, and what the signer added
  signature.bin   the signature: 64 bytes, Ed25519 as RFC 8032 describes it
  key.pem         the public key of the signer (SubjectPublicKeyInfo, PEM)
Prove one in its folder with OpenSSL 3:
    openssl pkeyutl -verify -pubin -inkey key.pem -rawin -in statement.json -sigfile signature.bin
This shows that whoever held the private key of key.pem signed this statement. That the
key is the person's you must know from elsewhere: compare it with one that the person
or the laboratory gave you. Its fingerprint, as entries of the kind "key" give it:
    openssl pkey -pubin -in key.pem -outform DER | sha256sum
Then compare in statement.json: "document" with the sha256 of the result.json, and
"content" with that of the entry. A key may have been withdrawn later; what it signed
before stays signed.


With the program Monochord
--------------------------
    monochord record check-package FOLDER --key PUBLIC.pem
    monochord record import FOLDER --at RECORD
"""


def readme(facts: Facts) -> str:
    """The text of ``README.txt``."""
    return TEXT.format(**{name: getattr(facts, name) for name in Facts.__slots__})

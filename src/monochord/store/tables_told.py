"""Tables for questions: what the entries of the ledger tell, laid out so that a fleet can be asked quickly.

Every row names the entry that told it. Lengths in metres, angles in radians, times in UTC as the ledger writes them
(a clock without a declared zone is taken as it stands, and ``timed_by`` says so), days in ISO 8601.
"""

from __future__ import annotations

from sqlalchemy import Column, Double, Index, Integer, String, Table, Text

from monochord.store.tables import METADATA, NUMBER

ID, NAME, DAY, STAMP = String(64), Text(), String(40), String(40)

#: A girder: its type, and the occasion on which it was judged last.
GIRDER = Table(
    "girder",
    METADATA,
    Column("name", NAME, primary_key=True),
    Column("type", NAME, nullable=False),
    Column("judged", NAME, nullable=False),
    Column("entry", ID, nullable=False),
)
MAGNET = Table(
    "magnet",
    METADATA,
    Column("serial", NAME, primary_key=True),
    Column("kind", NAME, nullable=False),
    Column("entry", ID, nullable=False),
)
#: Where a magnet was from when to when; ``until`` is "" while nobody told its end.
PLACED = Table(
    "placed",
    METADATA,
    Column("entry", ID, primary_key=True),
    Column("serial", NAME, nullable=False),
    Column("girder", NAME, nullable=False),
    Column("position", NAME, nullable=False),
    Column("since", DAY, nullable=False),
    Column("until", DAY, nullable=False),
    Index(None, "serial", "since"),
    Index(None, "girder", "position"),
)
INSTRUMENT = Table(
    "instrument",
    METADATA,
    Column("name", NAME, primary_key=True),
    Column("kind", NAME, nullable=False),
    Column("serial", NAME, nullable=False),
    Column("entry", ID, nullable=False),
)
CALIBRATION = Table(
    "calibration",
    METADATA,
    Column("entry", ID, primary_key=True),
    Column("instrument", NAME, nullable=False),
    Column("made_on", DAY, nullable=False),
    Column("valid_until", DAY, nullable=False),
    Column("certificate", NAME, nullable=False),
    Index(None, "instrument", "valid_until"),
)
#: A person and the roles, "; " between them.
PERSON = Table(
    "person",
    METADATA,
    Column("name", NAME, primary_key=True),
    Column("roles", Text, nullable=False),
    Column("entry", ID, nullable=False),
)
#: An occasion: ``at`` by ``timed_by`` (clock, clock without a zone, the occasion before, entry), and the run that tells it.
OCCASION = Table(
    "occasion",
    METADATA,
    Column("girder", NAME, primary_key=True),
    Column("name", NAME, primary_key=True),
    Column("place", NAME, nullable=False),
    Column("first", NUMBER, nullable=False),
    Column("known_at", STAMP, nullable=False),
    Column("at", STAMP, nullable=False),
    Column("timed_by", NAME, nullable=False),
    Column("run", ID, nullable=False),
    Column("judged", Integer, nullable=False),
    Column("entry", ID, nullable=False),
    Index(None, "girder", "at", "first"),
)
#: A run, and how many signatures its campaign asks for.
RUN = Table(
    "run",
    METADATA,
    Column("id", ID, primary_key=True),
    Column("number", NUMBER, nullable=False),
    Column("girder", NAME, nullable=False),
    Column("made_at", STAMP, nullable=False),
    Column("made_by", NAME, nullable=False),
    Column("code", ID, nullable=False),
    Column("document", ID, nullable=False),
    Column("sentence", Text, nullable=False),
    Column("signatures", Integer, nullable=False),
    Index(None, "girder", "made_at", "number"),
)
#: One verdict as the latest run tells it; ``magnet`` is "" for the girder as a whole. margin = distance to the nearer limit.
VERDICT = Table(
    "verdict",
    METADATA,
    Column("girder", NAME, primary_key=True),
    Column("occasion", NAME, primary_key=True),
    Column("magnet", NAME, primary_key=True),
    Column("quantity", NAME, primary_key=True),
    Column("value", Double),
    Column("u", Double),
    Column("limit_value", Double),
    Column("margin", Double),
    Column("margin_share", Double),
    Column("probability", Double),
    Column("verdict", NAME, nullable=False),
    Column("evidence", Text, nullable=False),
    Column("run", ID, nullable=False),
)
NONCONFORMANCE = Table(
    "nonconformance",
    METADATA,
    Column("entry", ID, primary_key=True),
    Column("girder", NAME, nullable=False),
    Column("magnet", NAME, nullable=False),
    Column("words", Text, nullable=False),
    Column("about", Text, nullable=False),
    Column("state", NAME, nullable=False),
    Column("decision", Text, nullable=False),
    Column("made_at", STAMP, nullable=False),
    Column("made_by", NAME, nullable=False),
    Index(None, "state", "girder"),
)
STEP = Table(
    "step",
    METADATA,
    Column("entry", ID, primary_key=True),
    Column("girder", NAME, nullable=False),
    Column("step", NAME, nullable=False),
    Column("done_on", DAY, nullable=False),
    Column("instrument", NAME, nullable=False),
    Column("words", Text, nullable=False),
    Column("made_by", NAME, nullable=False),
    Index(None, "girder", "done_on"),
)
#: An occasion on which bolts were turned: a round at the bolts; one row for every entry that tells of it.
TURNING = Table(
    "turning",
    METADATA,
    Column("entry", ID, primary_key=True),
    Column("girder", NAME, nullable=False),
    Column("occasion", NAME, nullable=False),
    Index(None, "girder", "occasion"),
)
#: A value for charts; ``since`` names the occasion from which a change is counted, "" for what is no change.
MEASURE = Table(
    "measure",
    METADATA,
    Column("girder", NAME, primary_key=True),
    Column("occasion", NAME, primary_key=True),
    Column("quantity", NAME, primary_key=True),
    Column("magnet", NAME, primary_key=True),
    Column("type", NAME, nullable=False),
    Column("since", NAME, nullable=False),
    Column("at", STAMP, nullable=False),
    Column("value", Double, nullable=False),
    Column("u", Double),
    Column("unit", String(20), nullable=False),
    Column("run", ID, nullable=False),
    Index(None, "quantity", "type", "magnet", "at"),
)
#: Who signed which run, as far as the questions need it.
SIGNED = Table(
    "signed",
    METADATA,
    Column("entry", ID, primary_key=True),
    Column("about", ID, nullable=False),
    Column("person", NAME, nullable=False),
    Index(None, "about"),
)

#: All tables for questions; none has guards, for they can be built anew.
TOLD = (
    GIRDER, MAGNET, PLACED, INSTRUMENT, CALIBRATION, PERSON, OCCASION, RUN, VERDICT, NONCONFORMANCE, STEP, TURNING, MEASURE,
    SIGNED,
)  # fmt: skip

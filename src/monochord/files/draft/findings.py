"""What recognising ends in: things found with their evidence, and questions with their choices."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer that a question takes: value as it is given, and what speaks for or against it."""

    value: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """Something that the files do not settle.

    key        by which it is answered, as it stands in the description where it has a place there
    asks       the question in words
    choices    what the files leave open; empty where any answer of the kind is possible
    kind       "choice" where the files could be read in two ways, "fact" where no file tells it
    dimension  of a fact that is an amount
    proposal   what is commonly so; never taken unless it is agreed to
    needed     whether the description cannot be loaded without it
    """

    key: str
    asks: str
    choices: tuple[Choice, ...] = ()
    kind: str = "choice"
    dimension: str = ""
    proposal: str = ""
    needed: bool = True


@dataclass(frozen=True, slots=True)
class Settled:
    """A thing and what settled it."""

    value: str
    why: str

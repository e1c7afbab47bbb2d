"""The pictures of the conventions are those that their script draws, and every one is shown."""

from __future__ import annotations

from xml.etree import ElementTree

from docs.conventions.draw import HERE, PICTURES


def test_every_picture_is_as_its_script_draws_it() -> None:
    stale = [d.__name__ for d in PICTURES if (HERE / f"{d.__name__}.svg").read_text(encoding="utf-8") != d().svg]

    assert not stale, f"{stale} differ from draw.py: run `make docs`"


def test_every_picture_is_shown_and_none_is_left_over() -> None:
    page = (HERE / "README.md").read_text(encoding="utf-8")
    drawn = {f"{draw.__name__}.svg" for draw in PICTURES}

    assert {path.name for path in HERE.glob("*.svg")} == drawn
    assert not [name for name in drawn if f"]({name})" not in page]


def test_every_picture_is_well_formed_and_has_a_title() -> None:
    for draw in PICTURES:
        tree = ElementTree.fromstring(draw().svg)
        title = tree.find("{http://www.w3.org/2000/svg}title")
        assert title is not None
        assert title.text

"""The page: well-formed, self-contained, the sentence first, accessible, and its numbers those of the document."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from typing import Any

import pytest

from monochord.campaign.found.result import OccasionFinding, Result, Temperature
from monochord.report.document import result_document
from monochord.report.page import headline_and_rest, page, style
from monochord.report.svg import ident
from monochord.report.words import MINUS

VOID = {"meta", "link", "br", "img", "input", "hr"}
FACTORS = {
    "µm": 1e6, "µrad": 1e6, "mrad": 1e3, "mm": 1e3, "m": 1.0, "kN": 1e-3, "K": 1.0, "°C": 1.0, "Hz": 1.0,
    "%": 100.0, "µm/m": 1e6, "turn": 1.0, "°": 360.0, "min": 60.0,
}  # fmt: skip


@dataclass
class Node:
    name: str
    attributes: dict[str, str]
    children: list[Node | str] = field(default_factory=list)

    def all(self, name: str) -> Iterator[Node]:
        """Every element of that name below, in order."""
        for child in self.children:
            if isinstance(child, Node):
                if child.name == name:
                    yield child
                yield from child.all(name)

    def everything(self) -> Iterator[Node]:
        yield self
        for child in self.children:
            if isinstance(child, Node):
                yield from child.everything()

    @property
    def text(self) -> str:
        return "".join(c if isinstance(c, str) else c.text for c in self.children)


class Tree(HTMLParser):
    """Builds a tree and refuses tags that do not match."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("document", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), f"attribute twice in {tag}"
        node = Node(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(node)
        if tag not in VOID:
            self.open.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].children.append(Node(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].name == tag, f"</{tag}> closes <{self.open[-1].name}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def parsed(html: str) -> Node:
    tree = Tree()
    tree.feed(html)
    tree.close()
    assert [node.name for node in tree.open] == ["document"], "an element is not closed"
    return tree.root


@pytest.fixture(scope="module")
def html(invented: Result) -> str:
    return page(invented)


@pytest.fixture(scope="module")
def root(html: str) -> Node:
    return parsed(html)


def one(root: Node, name: str) -> Node:
    found = list(root.all(name))
    assert len(found) == 1, name
    return found[0]


def spaced(text: str) -> str:
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def tables(root: Node) -> dict[str, Node]:
    return {sheet.attributes["id"]: sheet for sheet in root.all("div") if sheet.attributes.get("class") == "sheet"}


def rows(sheet: Node) -> dict[str, list[Node]]:
    """First cell of a row -> the cells behind it (the last row of that name)."""
    found = {}
    for row in one(sheet, "tbody").all("tr"):
        heads = list(row.all("th"))
        if heads:
            found[heads[0].text] = list(row.all("td"))
    return found


def exact(cell: Node) -> float | None:
    """The exact value behind a cell, None when it is printed as not known."""
    data = list(cell.all("data"))
    if not data:
        assert cell.text.strip() == "not known"
        return None
    return float(data[0].attributes["value"])


def test_it_is_one_well_formed_document(html: str, root: Node) -> None:
    assert html.lstrip().startswith("<!DOCTYPE html>")
    assert one(root, "html").attributes["lang"] == "en"
    ids = [node.attributes["id"] for node in root.everything() if "id" in node.attributes]
    assert len(ids) == len(set(ids))


def test_it_needs_nothing_from_outside(html: str, root: Node) -> None:
    assert not list(root.all("script"))
    assert not list(root.all("link"))
    assert not list(root.all("img"))
    for node in root.everything():
        for name in ("href", "src", "xlink:href", "srcset", "action"):
            assert node.attributes.get(name, "#").startswith("#"), node
        assert not [name for name in node.attributes if name.startswith("on")]
    assert not re.search(r"https?:|url\(|@import|//[\w-]+\.\w", html)


def test_the_sentence_stands_first(invented: Result, root: Node) -> None:
    body = one(root, "body")
    headline, rest = headline_and_rest(invented.sentence)

    assert spaced(body.text).startswith(f"{headline} {rest}")
    assert spaced(one(root, "h1").text) == headline
    assert spaced(f"{headline} {rest}") == spaced(invented.sentence)


def test_headings_descend_one_step_at_a_time(root: Node) -> None:
    levels = [int(n.name[1]) for n in root.everything() if re.fullmatch(r"h[1-6]", n.name)]

    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b <= a + 1 for a, b in itertools.pairwise(levels))


def test_chapters_come_in_order(root: Node) -> None:
    assert [h.text for h in root.all("h2")] == [
        "Verdict", "What changed", "Bolt plan", "What limits the numbers", "Pictures", "Tables", "Origin",
    ]  # fmt: skip


def test_every_picture_has_a_title_and_a_description(root: Node) -> None:
    pictures = list(root.all("svg"))

    assert len(pictures) > 30
    for picture in pictures:
        assert picture.attributes["role"] == "img"
        named = {part: one(picture, part).attributes["id"] for part in ("title", "desc")}
        assert picture.attributes["aria-labelledby"].split() == list(named.values())
        assert one(picture, "title").text
        assert one(picture, "desc").text


def test_every_drawn_number_is_a_number(root: Node) -> None:
    for picture in root.all("svg"):
        for node in picture.everything():
            written = " ".join(node.attributes.get(a, "") for a in ("d", "x", "y", "cx", "cy", "rx", "ry", "transform"))
            assert not re.search(r"nan|inf|None", written), node


def test_every_table_has_a_caption_heads_and_full_rows(root: Node) -> None:
    sheets = tables(root)

    assert len(sheets) > 20
    for sheet in sheets.values():
        assert one(sheet, "caption").text
        heads = list(one(sheet, "thead").all("th")) if list(sheet.all("thead")) else []
        assert all(head.attributes["scope"] == "col" and head.text for head in heads)
        for row in one(sheet, "tbody").all("tr"):
            cells = [c for c in row.children if isinstance(c, Node)]
            assert len(cells) == max(len(heads), 1)
            assert all(cell.text.strip() for cell in cells), one(sheet, "caption").text


def test_references_inside_the_page_lead_somewhere(root: Node) -> None:
    ids = {node.attributes["id"] for node in root.everything() if "id" in node.attributes}
    for node in root.everything():
        wanted = node.attributes.get("aria-labelledby", "").split()
        assert set(wanted) <= ids
        if node.name == "a":
            assert node.attributes["href"].removeprefix("#") in ids


def test_every_printed_number_is_its_exact_value_rounded(root: Node) -> None:
    checked = 0
    for sheet in tables(root).values():
        heads = [head.text for head in sheet.all("th") if head.attributes.get("scope") == "col"]
        caption = one(sheet, "caption").text
        for row in one(sheet, "tbody").all("tr"):
            cells = [c for c in row.children if isinstance(c, Node)]
            for head, cell in zip(heads, cells, strict=False):
                for data in cell.all("data"):
                    unit = re.search(r"\[(.+?)\]", head) or re.search(r"\[(.+?)\]$", caption)
                    word = spaced(cell.text).rsplit(" ", 1)[-1]
                    factor = FACTORS[unit[1]] if unit else FACTORS.get(word, 1.0)
                    printed = data.text.split(" ± ")[0].replace(MINUS, "-")
                    if printed[0] in "<>":  # a share beyond the last digit
                        assert (
                            abs(factor * float(data.attributes["value"]) - (0.0 if printed[0] == "<" else 100.0)) < 0.05
                        )
                        continue
                    decimals = len(printed.partition(".")[2])
                    # half a unit of the last digit, and the rounding of doubles
                    slack = 0.5 * 10.0**-decimals + 1e-9
                    assert abs(float(printed) - factor * float(data.attributes["value"])) <= slack, (head, cell.text)
                    checked += 1
    assert checked > 500


def test_words_of_side_agree_with_the_signs(root: Node) -> None:
    sides = {"left": 1.0, "up": 1.0, "right": -1.0, "down": -1.0}
    checked = 0
    for cell in root.all("td"):
        word = [s.text for s in cell.all("span") if s.attributes.get("class") == "word"]
        if word and word[0] in sides:
            value = exact(cell)
            assert value is not None
            assert value * sides[word[0]] > 0.0
            checked += 1
    assert checked > 40


def test_offsets_and_moves_are_those_of_the_document(invented: Result, root: Node) -> None:
    document: Any = result_document(invented)
    for name in ("1-bench", "3-restored"):
        offsets = document["occasions"][name]["line"]["offsets"]
        told = rows(tables(root)[ident("table-offsets", name)])
        assert list(told) == [m.name for m in invented.campaign.girder.magnets] == list(offsets)
        for magnet, cells in told.items():
            assert [exact(c) for c in cells[1:3]] == [offsets[magnet]["x"], offsets[magnet]["y"]]
            assert exact(cells[3]) == document["tolerances"][0]["limit"]
        moves = document["moves"][name]
        ordered = rows(tables(root)[ident("table-moves", name)])
        assert list(ordered) == list(moves)
        for magnet, cells in ordered.items():
            assert [exact(c) for c in cells[:2]] == [moves[magnet]["x"], moves[magnet]["y"]]
            assert cells[2].text == moves[magnet]["words"]


def test_uncertainties_of_the_offsets_are_printed(invented: Result, root: Node) -> None:
    document: Any = result_document(invented)
    offsets = document["occasions"]["1-bench"]["line"]["offsets"]
    for magnet, cells in rows(tables(root)[ident("table-offsets", "1-bench")]).items():
        for cell, key in zip(cells[1:3], ("u_x", "u_y"), strict=True):
            printed = float(next(cell.all("data")).text.split(" ± ")[1])
            # one decimal of a µm: half of it
            assert printed == pytest.approx(1e6 * offsets[magnet][key], abs=0.0501)


def test_axes_are_those_of_the_document(invented: Result, root: Node) -> None:
    document: Any = result_document(invented)
    keys = ("x", "y", "slope_x", "slope_y", "roll", "x_with_remanence", "y_with_remanence")
    for name in ("1-bench", "3-restored"):
        axes = document["occasions"][name]["axes"]
        told = rows(tables(root)[ident("table-axes", name)])
        assert list(told) == list(axes)
        for magnet, cells in told.items():
            assert [exact(c) for c in cells] == [axes[magnet][key] for key in keys]
        note = spaced(tables(root)[ident("table-axes", name)].text)
        for reason in ("scanned in one mode only", "needs scans in both planes in one mode"):
            assert reason in note


def test_corrections_are_those_of_the_document(invented: Result, root: Node) -> None:
    document: Any = result_document(invented)
    sheet = tables(root)[ident("table-corrections", "1-bench")]
    told = [
        (next(row.all("th")).text, cells[0].text, exact(cells[1]), exact(cells[2]))
        for row in one(sheet, "tbody").all("tr")
        for cells in [list(row.all("td"))]
    ]
    expected = [
        (magnet, c["cause"], c["x"], c["y"])
        for magnet, axis in document["occasions"]["1-bench"]["axes"].items()
        for c in axis["corrections"]
    ]
    assert told == expected


def test_targets_and_what_was_left_out_are_those_of_the_document(invented: Result, root: Node) -> None:
    document: Any = result_document(invented)
    for name, occasion in document["occasions"].items():
        told = rows(tables(root)[ident("table-targets", name)])
        known = {n: t for n, t in occasion["targets"].items() if t["xyz"] is not None}
        assert list(told) == list(known)
        for target, cells in told.items():
            assert [exact(c) for c in cells[1:4]] == known[target]["xyz"]
            spread = [known[target]["cov"][k][k] ** 0.5 for k in range(3)]
            assert [exact(c) for c in cells[4:7]] == pytest.approx(spread, rel=1e-12)
        unknown = [n for n, t in occasion["targets"].items() if t["xyz"] is None]
        note = tables(root)[ident("table-targets", name)].text
        assert unknown
        assert all(n in note for n in unknown)
        left_out = tables(root)[ident("table-rejected", name)].text
        assert ("SA1-3" in left_out) == bool(occasion["rejected"])
        assert ("Nothing was left out." in left_out) == (not occasion["rejected"])


def test_temperature_feet_and_lacks_are_told(invented: Result, root: Node) -> None:
    sheets = tables(root)
    conditions = rows(sheets["table-conditions"])
    assert [exact(c) for c in conditions["1-bench"][1:4]] == [20.4, 0.04, 26.103]
    assert exact(conditions["3-restored"][1]) is None
    assert "the logger was off" in sheets["table-conditions"].text
    feet = rows(sheets[ident("table-feet", "2-arrived")])
    assert [feet["V1R"][0].text, exact(feet["V1R"][1])] == ["touching", 8300.0]
    assert exact(feet["V1L"][1]) is None
    assert "V4R (nobody noted this foot" in sheets[ident("table-feet", "2-arrived")].text
    assert "no wire can be strung before the bolts are set" in sheets["table-lacks"].text
    assert "did not pass" in sheets["table-gates"].text
    assert "3-restored/tracker.csv, line 40" in sheets["table-notes"].text


def test_the_origin_is_told(invented: Result, root: Node) -> None:
    files = rows(tables(root)["table-inputs"])
    document: Any = result_document(invented)

    assert {path: cells[0].text for path, cells in files.items()} == {
        i["path"]: i["sha256"] for i in document["inputs"]
    }
    settings = rows(tables(root)["table-settings"])
    assert {name: cells[0].text for name, cells in settings.items()} == document["settings"]
    origin = next(s for s in root.all("section") if s.attributes["id"] == "origin").text
    assert all(word in origin for word in ("run-0007", "monochord 0.1.0", "2026-07-14T09:30:00Z"))


def test_a_rejected_sighting_is_said_in_words_in_the_drawing(root: Node) -> None:
    network = {p.attributes["aria-labelledby"].split("-title")[0]: p for p in root.all("svg")}

    words = [t.text for t in network[ident("network", "2-arrived")].all("text")]
    assert "T2 to SA1-3 left out" in words
    assert not [t.text for t in network[ident("network", "1-bench")].all("text") if "left out" in t.text]


def test_the_drawing_of_the_axes_shows_values_sides_and_beam(invented: Result, root: Node) -> None:
    picture = next(p for p in root.all("svg") if ident("axes", "1-bench") in p.attributes["aria-labelledby"])
    words = " ".join(t.text for t in picture.all("text"))

    for magnet in invented.campaign.girder.magnets:
        assert words.count(magnet.name) == 2
    assert f"QB1{MINUS}30.3 ± 1.3" in words
    for word in ("left +", f"right {MINUS}", "up +", f"down {MINUS}", "beam", "limit +30", "z along the girder [m]"):
        assert word in words


def test_dots_of_the_axes_stand_at_their_offsets(invented: Result, root: Node) -> None:
    document: Any = result_document(invented)
    offsets = list(document["occasions"]["1-bench"]["line"]["offsets"].values())
    picture = next(p for p in root.all("svg") if ident("axes", "1-bench") in p.attributes["aria-labelledby"])
    zeros = [
        float(re.findall(r"[\d.]+", n.attributes["d"])[1])
        for n in picture.all("path")
        if n.attributes["class"] == "zero"
    ]
    limits = [
        float(re.findall(r"[\d.]+", n.attributes["d"])[1])
        for n in picture.all("path")
        if n.attributes["class"] == "limit"
    ]
    dots = [float(n.attributes["cy"]) for n in picture.all("circle") if n.attributes["class"] == "centre"]
    bars = [n.attributes["d"] for n in picture.all("path") if n.attributes["class"] == "interval"]

    for k, key in enumerate("xy"):
        per_micrometre = (zeros[k] - limits[2 * k]) / 30.0  # the upper limit, 30 µm, stands above the zero line
        assert per_micrometre > 0.0
        for i, offset in enumerate(offsets):
            # drawn with two decimals: half of the last, for the zero line, the limit and the dot
            assert dots[5 * k + i] == pytest.approx(zeros[k] - 1e6 * offset[key] * per_micrometre, abs=0.02)
            start, end = (float(v) for v in re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", bars[5 * k + i])[0])
            assert start - end == pytest.approx(2 * 1.96e6 * offset[f"u_{key}"] * per_micrometre, abs=0.02)


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    bright, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_text_stands_out_from_its_ground() -> None:
    # WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text (from memory; formula recomputed: black on white gives 21)
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    rules = re.findall(r"([^{}]+)\{([^{}]*)\}", style())
    colours = {c for _, body in rules for c in re.findall(r"(?<![-\w])color:\s*(#[0-9a-f]{6})", body)}
    colours |= {c for at, body in rules if "svg " in at for c in re.findall(r"fill:\s*(#[0-9a-f]{6})", body)}

    assert len(colours) > 4
    # white paper, and the tolerance band at 55 % over white
    for ground in ("#ffffff", "#e4f0f8"):
        assert min(contrast(colour, ground) for colour in colours) >= 4.5


def test_the_same_result_gives_the_same_page(invented: Result, html: str) -> None:
    assert page(invented) == html


def test_names_cannot_break_the_page(invented: Result) -> None:
    evil = '<script>alert("1")</script> & "Q\'1'
    bench = invented.occasions[0]
    assert bench.wire is not None
    curve = replace(bench.wire.scans[0], title=evil, x_label=evil)
    named = replace(bench, name=evil, wire=replace(bench.wire, scans=(curve,)), lacks={evil: evil})
    girder = replace(invented.campaign.girder, name=evil)
    campaign = replace(invented.campaign, girder=girder)
    root = parsed(page(replace(invented, campaign=campaign, occasions=(named,), sentence=f"{evil} is fine.")))

    assert not list(root.all("script"))
    assert evil in one(root, "h1").text.replace("\N{NO-BREAK SPACE}", " ")
    assert any(t.text == evil for t in root.all("text"))


def test_a_result_without_any_finding_is_still_a_page(invented: Result) -> None:
    bare = OccasionFinding("0-nothing", None, None, None, Temperature(None, None, "no sensor"), lacks={"wire": "later"})
    root = parsed(page(replace(invented, occasions=(bare,), sentence="Nothing was measured.")))

    text = spaced(one(root, "main").text)
    assert "No occasion has axes and a common line." in text
    assert "No occasion has a survey." in text
    assert "later" in text


def test_magnets_that_stand_close_and_have_their_own_limits_are_drawn(invented: Result) -> None:
    tolerance = invented.campaign.tolerances[0]
    own = (replace(tolerance, limit=20e-6, magnets=("QA1",)), replace(tolerance, limit=40e-6, magnets=("SA2",)))
    squeezed = tuple(replace(m, point=(0.0, 0.0, 0.1 * m.point[2])) for m in invented.campaign.girder.magnets)
    wide = replace(squeezed[-1], point=(0.0, 0.0, 3.0))
    girder = replace(invented.campaign.girder, items=(*squeezed[:-1], wide))
    root = parsed(page(replace(invented, campaign=replace(invented.campaign, girder=girder, tolerances=own))))

    told = rows(tables(root)[ident("table-offsets", "1-bench")])
    assert [told[m][3].text.strip() for m in ("QA1", "SA1", "SA2")] == ["20", "none declared", "40"]

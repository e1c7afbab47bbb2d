"""An invented result for the doors: one girder, five magnets, 32 targets, three stations, three occasions.

Numbers come from one seeded generator; nothing here was measured anywhere.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.axes import Axis, CommonLine, Correction, Gate, Move
from monochord.campaign.found.points import PointSet, Rejected, Residual, StationFit
from monochord.campaign.found.result import Curve, OccasionFinding, Result, Temperature, WireFinding
from monochord.campaign.given.campaign import Campaign, LineRule, Tolerance
from monochord.campaign.given.girder import Bolt, Girder, Magnet, Target
from monochord.campaign.given.occasion import FootFinding, Occasion
from monochord.campaign.origin import Origin, Source
from monochord.ground.estimate import Estimate, Factor, Label
from monochord.ground.faults import Fault
from monochord.ground.frames import Rigid, rotation_from_vector

Array = NDArray[np.float64]
UM = 1e-6

MAGNETS = (
    Magnet("QA1", "quadrupole", (0.0, 0.0, -1.70), 0.25, 610.0, 0.11, 0.03),
    Magnet("SA1", "sextupole", (0.0, 0.0, -1.00), 0.20, 420.0, 4.1, 0.03),
    Magnet("QB1", "quadrupole", (0.0, 0.0, -0.15), 0.40, 900.0, -0.12, 0.03),
    Magnet("SA2", "sextupole", (0.0, 0.0, 0.80), 0.20, 420.0, 4.1, 0.03),
    Magnet("QA2", "quadrupole", (0.0, 0.0, 1.60), 0.25, 610.0, 0.11, 0.03),
)
STATIONS = {"T1": (2.9, -0.2, -2.2), "T2": (-3.1, 0.1, 0.3), "T3": (2.6, -0.1, 2.6)}
KINDS = (("direction", 2.6e-6), ("zenith", 2.6e-6), ("distance", 7e-6))


def girder() -> Girder:
    """The girder with twelve targets of its own and four on every magnet."""
    own = [
        Target(f"G{i}{side}", "girder", (x, -0.37, z), 5e-4)
        for i, z in enumerate(np.linspace(-2.1, 2.1, 6), 1)
        for side, x in (("L", 0.3), ("R", -0.3))
    ]
    sat = [
        Target(f"{m.name}-{i}", m.name, (x, 0.31, m.point[2] + dz), 5e-4)
        for m in MAGNETS
        for i, (x, dz) in enumerate(((0.2, -0.08), (-0.2, -0.08), (0.2, 0.08), (-0.2, 0.08)), 1)
    ]
    bolts = [
        Bolt(f"V{i}{side}", (0.0, 1.0, 0.0), (x, -0.9, z), 1.5e-3, 6e-3, 1 / 120, True, 7e8)
        for i, z in enumerate((-1.9, -0.7, 0.7, 1.9), 1)
        for side, x in (("L", 0.28), ("R", -0.28))
    ]
    return Girder("Larch 7", "five-magnet girder", None, MAGNETS, tuple(own + sat), tuple(bolts))


def random_cov(n: int, size: float, rng: np.random.Generator) -> Array:
    """A covariance (n, n) with standard deviations near ``size``."""
    root = rng.normal(size=(n, n)) * size / np.sqrt(n)
    cov: Array = root @ root.T + np.eye(n) * (0.3 * size) ** 2
    return cov


def axis(magnet: Magnet, centre: Array, occasion: str, rng: np.random.Generator) -> Axis:
    """An axis; the slopes of the shortest magnets are not known in y, nor is their roll."""
    names = [f"{magnet.name}.{q}" for q in ("x", "y", "slope_x", "slope_y")]
    labels = tuple(Label(n, "rad" if "slope" in n else "m", "girder") for n in names)
    short = magnet.length < 0.25
    value = np.array([*centre, rng.normal() * 3e-5, np.nan if short else rng.normal() * 3e-5])
    noise = np.diag([0.8 * UM, 0.9 * UM, 8e-6, 0.0 if short else 9e-6]) ** 2
    factors = {
        "reading noise:" + occasion: Factor(np.eye(4), noise),
        "sag:" + occasion: Factor(np.array([[0.0], [-0.7], [0.0], [0.0]]), np.array([[1e-12]])),
        "stringing:" + occasion: Factor(np.eye(4)[:, :2], np.eye(2) * 1e-12),
    }
    return Axis(
        magnet.name, "girder", magnet.point[2], Estimate(value, labels, factors, 34.0),
        None if short else centre[0] + 0.8 * UM, None if short else centre[1] - 0.4 * UM,
        None if short else -1.1e-4, None if short else 2.0e-5,
        (Correction("background", 1.9 * UM, -0.4 * UM, 0.2 * UM, 0.2 * UM),
         Correction("sag of the wire", 0.0, -231.4 * UM * (1 - (magnet.point[2] / 3.2) ** 2), 0.0, 0.7 * UM),
         Correction("turn of the sensors", -0.3 * UM, 0.6 * UM, 0.1 * UM, 0.1 * UM)),
        (Gate("forth and back agree", magnet.name != "SA2", "forth and back differ by 1.4 um, limit 1.2 um"),),
        {"slope_y": "scanned in one mode only", "roll": "needs scans in both planes in one mode",
         "remanence": "the scan with the current off is too short"} if short else {},
    )  # fmt: skip


def common_line(axes: tuple[Axis, ...], rule: str) -> CommonLine:
    """Offsets from the equally weighted straight line, causes carried through the fit."""
    z = np.array([a.z for a in axes])
    design = np.stack([np.ones(len(z)), z], 1)
    hat = design @ np.linalg.pinv(design)
    both = np.kron(np.eye(len(z)) - hat, np.eye(2))
    value = np.concatenate([a.estimate.value[:2] for a in axes])
    labels = [a.estimate.labels[i] for a in axes for i in (0, 1)]
    noise = np.kron(np.eye(len(z)), np.diag([1.3 * UM, 1.4 * UM]) ** 2)
    sag = np.kron((1 - (z / 3.2) ** 2), [0.0, 1.0])[:, None]
    factors = {"reading noise": Factor(both, noise), "sag": Factor(both @ sag, np.array([[0.49e-12]]))}
    start, slope = np.linalg.pinv(design) @ value.reshape(-1, 2)
    return CommonLine(
        rule, Estimate(both @ value, tuple(labels), factors, 34.0), (float(start[0]), float(start[1])),
        (float(slope[0]), float(slope[1])), {a.magnet: float(h) for a, h in zip(axes, np.diag(hat), strict=True)},
    )  # fmt: skip


def scan_curve(magnet: Magnet, plane: str, mode: int, rng: np.random.Generator) -> Curve:
    """A straight line for a quadrupole, a parabola for a sextupole, with residuals."""
    x = np.linspace(-0.2, 0.2, 13)
    smooth = np.linspace(-0.2, 0.2, 60)
    power = magnet.order - 1

    def law(s: Array) -> Array:
        values: Array = 150.0 * (s - 0.012) ** power
        return values

    noise = rng.normal(size=len(x)) * 0.05
    return Curve(
        f"{magnet.name}, moved in {plane}, mode {mode}", f"stage {plane} [mm]", "signal [µm]",
        x, law(x) + noise, smooth, law(smooth), noise,
    )  # fmt: skip


def resonance_curve(mode: int, rng: np.random.Generator) -> Curve:
    """Amplitude against frequency, a damped oscillator."""
    centre = 26.1 * mode
    f = np.linspace(centre - 0.4, centre + 0.4, 31)
    smooth = np.linspace(centre - 0.4, centre + 0.4, 200)

    def law(s: Array) -> Array:
        values: Array = 12.0 / np.hypot((s - centre) / 0.06, 1.0)
        return values

    noise = rng.normal(size=len(f)) * 0.08
    return Curve(
        f"mode {mode}", "frequency [Hz]", "amplitude x [µm]", f, law(f) + noise, smooth, law(smooth), noise
    )  # fmt: skip


def wire(occasion: str, scatter: float, rng: np.random.Generator) -> WireFinding:
    """Axes scattered about a slanted line, with scans and resonances."""
    axes = tuple(axis(m, rng.normal(size=2) * scatter + 20 * UM * m.point[2], occasion, rng) for m in MAGNETS)
    scans = tuple(scan_curve(m, p, n, rng) for m in MAGNETS for p in "xy" for n in ((2, 4) if m.order == 2 else (2,)))
    return WireFinding(
        axes, 26.103, 26.109, 449.6 * UM, 0.9 * UM, 3.1e-3, 0.4e-3, scans,
        tuple(resonance_curve(n, rng) for n in (1, 2, 4)),
        (Gate("modes are multiples of the fundamental", True, "f2 / 2 f1 = 1.0003, f4 / 4 f1 = 1.0007"),),
    )  # fmt: skip


def points(given: Girder, wrong: bool, rng: np.random.Generator) -> PointSet:
    """A survey by three stations; the last girder target is seen once only."""
    names = [t.name for t in given.targets if t.name != "G6R"]
    nominal = [t.nominal for t in given.targets if t.name != "G6R" and t.nominal]
    walls = {"N1": (4.0, 0.8, -3.0), "N2": (-4.2, 0.9, -1.0), "N3": (-4.1, 0.7, 3.1), "N4": (4.1, 1.0, 3.3)}
    names += list(walls)
    xyz = np.array([*nominal, *walls.values()]) + rng.normal(size=(len(names), 3)) * 2e-4
    labels = [f"{n}.{k}" for n in names for k in "xyz"]
    n = 3 * len(names)
    noise: Array = np.kron(np.eye(len(names)), random_cov(3, 5 * UM, rng)).astype(np.float64)
    mounting = np.eye(n) * (3 * UM) ** 2
    scale = xyz.reshape(-1, 1) @ xyz.reshape(1, -1) * (1e-6) ** 2
    causes: dict[str, Array] = {"reading noise": noise, "mounting": mounting, "range scale": scale}
    residuals = [
        Residual(s, t, kind, r, float(w * sigma * 0.8), sigma, 0.64, float(w))
        for s in STATIONS
        for t in names
        for r in (1, 2)
        for kind, sigma in KINDS
        for w in [rng.normal()]
    ]
    rejected = tuple(
        Rejected("T2", "SA1-3", "sighting", 184 * UM, "m", f"round {r}: 61 times its standard deviation")
        for r in (1, 2)
        if wrong
    )
    return PointSet(
        "girder", tuple(names), Estimate.of(xyz.reshape(-1), labels, unit="m", frame="girder", causes=causes, dof=240.0),
        {t.name: t.carrier for t in given.targets if t.name in names} | dict.fromkeys(walls, "wall"),
        Rigid("hall", "girder", rotation_from_vector(np.array([1e-3, 2e-2, -5e-4])), np.array([0.3, -1.4, 0.8])),
        tuple(
            StationFit(s, Rigid(s, "girder", rotation_from_vector(np.array([0.0, i + 1.0, 0.0])), np.array(p)), 70)
            for i, (s, p) in enumerate(STATIONS.items())
        ),
        tuple(residuals), rejected, {"G6R": "seen from one station only, and its distance was not read"},
        -4.1e-6, 0.9e-6, 1.07, 240.0,
        (Gate("specification holds", True, "variance factor 1.07, limits 0.83 and 1.19"),),
    )  # fmt: skip


def moves(line: CommonLine) -> tuple[Move, ...]:
    """The way back onto the line, for every magnet that is off by more than 5 um."""
    ordered = []
    for i, magnet in enumerate(MAGNETS):
        x, y = (float(v) for v in -line.offsets.value[2 * i : 2 * i + 2])
        if max(abs(x), abs(y)) > 5 * UM:
            ordered.append(Move(magnet.name, x, y, 1.3 * UM, 1.5 * UM, f"move {magnet.name} on its wedges, then clamp"))
    return tuple(ordered)


def invent() -> Result:
    """The whole invented result."""
    rng = np.random.default_rng(20260714)
    given = girder()
    rule = LineRule()
    bench, tunnel = wire("bench", 14 * UM, rng), wire("restored", 9 * UM, rng)
    lines = common_line(bench.axes, rule.words), common_line(tunnel.axes, rule.words)
    felt = tuple(
        FootFinding(b.name, ("tight", "touching", "loose", "tight")[i % 4], 9000.0 - 700 * i if i % 3 else None, 500.0)
        for i, b in enumerate(given.bolts[:-1])
    )
    occasions = (
        Occasion("1-bench", "bench hall", temperature=20.4),
        Occasion("2-arrived", "tunnel", feet=felt, lacks=("no wire can be strung before the bolts are set",)),
        Occasion("3-restored", "tunnel", feet=felt[:4]),
    )
    inputs = tuple(Source(f"{o.name}/tracker.csv", f"{i + 10:064x}") for i, o in enumerate(occasions))
    campaign = Campaign(
        given, None, None, rule, (Tolerance("offset", 30 * UM), Tolerance("roll", 2e-4)), occasions, "1-bench", inputs,
        {"temperature.2-arrived": "20.9 degC"},
    )  # fmt: skip
    found = (
        OccasionFinding("1-bench", bench, lines[0], points(given, False, rng), Temperature(20.4, 0.04), moves(lines[0])),
        OccasionFinding(
            "2-arrived", None, None, points(given, True, rng), Temperature(20.9, None, "no sensors on the girder"),
            lacks={"wire": "no wire was strung on this occasion", "line": "without axes there is no line"},
        ),
        OccasionFinding(
            "3-restored", tunnel, lines[1], points(given, False, rng), Temperature(None, None, "the logger was off"),
            moves(lines[1]),
        ),
    )  # fmt: skip
    return Result(
        campaign, found,
        "All five magnets of Larch 7 lie within 12 µm of their common line in the tunnel. "
        "SA2 stands farthest off, 7 ± 1 µm right and 12 ± 1 µm down. "
        "One sighting of T2 to SA1-3 on 2-arrived was wrong by 0.18 mm and was left out in both rounds.",
        Origin(
            "monochord 0.1.0", "2026-07-14T09:30:00Z", "run-0007",
            (Source("girder/magnets.csv", "ab" * 32),), {"background": "subtracted scan by scan"},
        ),
        (Fault("1 empty row", "a reading", "nothing to do", "3-restored/tracker.csv", 40),),
    )  # fmt: skip


@pytest.fixture(scope="session")
def invented() -> Result:
    """The invented result; frozen, so one for all tests."""
    return invent()

"""What a crew gets wrong, done to a good day: nothing may raise, and the reason must stand where it is looked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest

from monochord.campaign.found.axes import Axis
from monochord.campaign.found.result import WireFinding
from monochord.campaign.given.wire import Sweep, WireScan
from monochord.wire.axes import find_axes
from tests.wire_world import MAGNETS, WIRE, day

DAY = day(1)
Scans = Sequence[WireScan]
UM = 1e-6


def axes(scans: Scans = DAY.scans, sweeps: Sequence[Sweep] = DAY.sweeps) -> WireFinding:
    return find_axes("day", scans, sweeps, WIRE, MAGNETS)


AS_READ = axes()


def axis_of(finding: WireFinding, name: str) -> Axis:
    return next(a for a in finding.axes if a.magnet == name)


def of_quad1(change: Callable[[WireScan], WireScan]) -> list[WireScan]:
    return [change(s) if s.magnet == "Quad1" else s for s in DAY.scans]


def messages(finding: WireFinding) -> str:
    return "\n".join(g.message for g in finding.gates if not g.ok)


def alike(finding: WireFinding, names: Sequence[str], within: float) -> bool:
    pairs = [(axis_of(finding, n).estimate.value[:2], axis_of(AS_READ, n).estimate.value[:2]) for n in names]
    return all(np.abs(a - b).max() < within for a, b in pairs)


def test_a_good_day_passes_its_gates() -> None:
    assert not messages(AS_READ)
    assert not [g for a in AS_READ.axes for g in a.gates if not g.ok]


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda s: replace(s, mode=0), "mode 0 cannot be seen"),
        (lambda s: replace(s, mode=500), "mode 500 cannot be seen"),
        (lambda s: replace(s, mode=s.mode + 1), "check the mode's number"),
        (lambda s: replace(s, drive_current=0.0), "must be positive"),
        (lambda s: replace(s, drive_frequency=float("nan")), "must be positive"),
        (lambda s: replace(s, magnet_current=float("nan")), "current is not told"),
        (lambda s: replace(s, x=0 * s.x), "a sensor shows nothing"),
        (lambda s: replace(s, x=np.nan * s.x), "fewer than two whole readings"),
        (lambda s: replace(s, stage_x=0 * s.stage_x, stage_y=0 * s.stage_y), "was not moved"),
        (lambda s: replace(s, x=s.x * np.exp(1.1j), y=s.y * np.exp(1.1j)), "phase is turned by"),
        (lambda s: replace(s, x=s.y, y=s.x), ""),  # the split planes are exchanged too: refused, whatever shows first
        (lambda s: replace(s, stage_x=s.stage_y, stage_y=s.stage_x), "x and y appear exchanged"),
        (lambda s: replace(s, y=-s.y), "one plane appears upside down"),
        (lambda s: replace(s, magnet_current=0.0), "no scan of this magnet with current"),
    ],
)
def test_one_magnet_that_cannot_be_evaluated_keeps_its_place_and_its_reason(
    change: Callable[[WireScan], WireScan], reason: str
) -> None:
    finding = axes(of_quad1(change))
    lost = axis_of(finding, "Quad1")
    assert np.isnan(lost.estimate.value).all()
    assert reason in lost.unknown["x"]
    assert not lost.gates[0].ok
    # the others lose at most a share of the background scans
    assert alike(finding, ["Sext1", "Quad2", "Sext2", "Quad3"], 0.5 * UM)


def test_a_magnet_that_is_not_on_the_girder_is_named() -> None:
    finding = axes(of_quad1(lambda s: replace(s, magnet="Quad9")))
    assert "'Quad9' is not on the girder" in messages(finding)
    assert "scan it" in axis_of(finding, "Quad1").unknown["x"]


def test_nothing_at_all_gives_every_magnet_a_reason() -> None:
    finding = axes((), ())
    assert len(finding.axes) == len(MAGNETS)
    assert all(a.unknown["x"] and np.isnan(a.estimate.value).all() for a in finding.axes)
    assert finding.scans == ()
    assert finding.resonances == ()


def test_sweeps_that_are_missing_cost_the_sag_and_nothing_else_in_x() -> None:
    finding = axes(sweeps=())
    assert "no usable frequency sweep" in messages(finding)
    assert alike_in_x(finding, 0.5 * UM)
    for axis in finding.axes:
        y, u = axis.estimate.value[1], axis.estimate.u[1]
        assert abs(y - axis_of(AS_READ, axis.magnet).estimate.value[1]) < 3 * u
        assert u > 2 * UM


def alike_in_x(finding: WireFinding, within: float) -> bool:
    names = [m.name for m in MAGNETS if m.kind == "quadrupole"]
    return all(
        abs(axis_of(finding, n).estimate.value[0] - axis_of(AS_READ, n).estimate.value[0]) < within for n in names
    )


def test_sweeps_counted_in_the_other_sense_of_time_are_named() -> None:
    assert "run backwards" in messages(axes(sweeps=[replace(s, x=s.x.conj(), y=s.y.conj()) for s in DAY.sweeps]))


def test_sweeps_without_a_resonance_are_named() -> None:
    rng = np.random.default_rng(3)
    noise = [rng.normal(size=(2, len(s.x))) * 1e-6 for s in DAY.sweeps]
    sweeps = [
        replace(s, x=n[0].astype(complex), y=n[1].astype(complex)) for s, n in zip(DAY.sweeps, noise, strict=True)
    ]
    assert "show no resonance" in messages(axes(sweeps=sweeps))


def test_short_sweeps_are_left_out_by_name() -> None:
    short = [replace(s, frequencies=s.frequencies[:5], x=s.x[:5], y=s.y[:5]) if s.mode == 2 else s for s in DAY.sweeps]
    finding = axes(sweeps=short)
    assert "mode 2: too few points" in messages(finding)
    assert alike(finding, [m.name for m in MAGNETS], 0.5 * UM)


def test_a_background_that_is_missing_shows_in_gate_and_uncertainty() -> None:
    finding = axes([s for s in DAY.scans if s.magnet_current != 0.0])
    for axis in finding.axes:
        gates = [g for g in axis.gates if g.name == "background"]
        assert not any(g.ok for g in gates)
        away = axis.estimate.value[:2] - axis_of(AS_READ, axis.magnet).estimate.value[:2]
        assert (np.abs(away) < 3 * axis.estimate.u[:2]).all()
        assert axis.estimate.u[0] > axis_of(AS_READ, axis.magnet).estimate.u[0]
        assert "remanence" in axis.unknown


def test_one_plane_alone_still_gives_both_coordinates_and_says_so() -> None:
    finding = axes([s for s in DAY.scans if s.moved == "x"])
    for axis in finding.axes:
        assert not next(g for g in axis.gates if g.name == "scanned in y").ok
        away = axis.estimate.value[:2] - axis_of(AS_READ, axis.magnet).estimate.value[:2]
        assert (np.abs(away) < 3 * axis.estimate.u[:2]).all()


def test_two_currents_stand_in_for_a_background() -> None:
    """Half current instead of none: drawn from the same readings, on = off + current part."""
    halves = []
    for scan in DAY.scans:
        if scan.magnet_current:
            halves.append(scan)
            continue
        on = next(
            o
            for o in DAY.scans
            if o.magnet_current
            and (o.magnet, o.mode, o.moved) == (scan.magnet, scan.mode, scan.moved)
            and o.stage_x[0] == scan.stage_x[0]
            and o.stage_y[0] == scan.stage_y[0]
        )
        mean = {"x": (on.x + scan.x) / 2.0, "y": (on.y + scan.y) / 2.0}
        halves.append(replace(scan, magnet_current=on.magnet_current / 2.0, x=mean["x"], y=mean["y"]))
    finding = axes(halves)
    for axis in finding.axes:
        away = axis.estimate.value[:2] - axis_of(AS_READ, axis.magnet).estimate.value[:2]
        assert (np.abs(away) < 3 * axis.estimate.u[:2]).all()
        assert "two currents" in next(g for g in axis.gates if g.name == "background").message


def test_scans_without_times_are_taken_in_their_order() -> None:
    assert alike(axes([replace(s, times=np.nan * s.times) for s in DAY.scans]), [m.name for m in MAGNETS], 0.5 * UM)


def test_polarity_against_the_plan_is_named_and_moves_no_centre() -> None:
    finding = axes(of_quad1(lambda s: replace(s, magnet_current=-s.magnet_current)))
    assert "Quad1: polarity reversed" in messages(finding)
    assert alike(finding, ["Quad1"], 1e-12)


def test_few_readings_beside_the_zero_are_noticed() -> None:
    def cut(scan: WireScan) -> WireScan:
        keep = np.argsort(scan.stage_x if scan.moved == "x" else scan.stage_y)[:5]
        parts = {n: getattr(scan, n)[keep] for n in ("stage_x", "stage_y", "x", "y", "times")}
        return replace(scan, **parts)

    gates = axis_of(axes(of_quad1(cut)), "Quad1").gates
    assert not next(g for g in gates if g.name == "scanned in x").ok


def test_a_mode_that_is_blind_at_the_magnet_is_named() -> None:
    """Only the second mode is kept, which has its node near this magnet."""
    finding = axes([s for s in DAY.scans if s.magnet != "Quad2" or s.mode == 2])
    gate = next(g for g in axis_of(finding, "Quad2").gates if g.name == "mode sees the magnet")
    assert not gate.ok
    assert "belly" in gate.message

"""Frame, angles, strengths and signals: what the files prove stands with its proof, what they cannot is asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from monochord.files import clock
from monochord.files.draft import facts, geometry, survey
from monochord.files.draft.cells import notations
from monochord.files.draft.columns import LETTERS
from monochord.files.draft.findings import Choice, Question
from monochord.files.draft.kinds import Kind
from monochord.files.draft.lines import Draft, Section
from monochord.files.draft.sense import turning
from monochord.files.draft.survey import Survey, frames, heard, spoken
from monochord.files.draft.tables import Work
from monochord.files.draft.words import KINDS, plain
from monochord.files.schema_check import schema
from monochord.ground.faults import Fault, Refused

Sweep = tuple[NDArray[np.float64], NDArray[np.complex128]]

_MIRRORED = "If none of these is right, the set is left-handed, which no description takes."


def frame(work: Work, chosen: Mapping[str, Kind | None], seen: Survey) -> None:
    """Which way the laboratory's axes point: the beam by spread, up by the stations, the rest by asking."""
    draft = work.draft
    tables = [
        [k.columns[p] for c, p in k.fit.places.items() if c in LETTERS]
        for k in (chosen["magnets"], chosen["targets"], chosen["bolts"])
        if k is not None and k.fit is not None
    ]
    letter, why = survey.along(*tables)
    work.along = letter
    upward = geometry.up(seen.good[0]) if seen.good and len(seen.left("horizontal")) == 1 else None
    rests = frames(letter, upward) if letter else [f for c in LETTERS for f in frames(c, upward)]
    evidence = [f"beam along {letter}: {why}"] if letter else []
    if upward:
        sign = "+" if upward[1] > 0 else "-"
        evidence.append(f"up along {sign}{upward[0]}: all stations stand so, within {np.degrees(upward[2]):.1f} deg")
    asks = f"Where do x, y and z point? {'; '.join(evidence) or 'No table tells it'}. {_MIRRORED}"
    section = draft.section("frame")
    parts = {c: draft.answers[f"frame.{c}"] for c in LETTERS if f"frame.{c}" in draft.answers}
    fitting = [f for f in rests if all(f[c] == str(v) for c, v in parts.items())]
    if parts and len(fitting) == 1:
        draft.settled += [Question(f"frame.{c}", asks) for c in parts]
        answer: str | None = spoken(fitting[0])
    else:
        answer = draft.ask(Question("frame", asks, tuple(Choice(spoken(f)) for f in rests)))
    work.frame = heard(answer) if answer else {}
    for c in LETTERS:
        section.add(
            c,
            work.frame.get(c),
            "; ".join(evidence) if work.frame and c == "x" else "",
        )
    if not answer:
        section.add("", None, f"{asks} {'; '.join(repr(spoken(f)) for f in rests[:8])}")


def angles(work: Work, sightings: Kind, seen: Survey) -> None:
    """Sense of the circle, vertical angle and units, as far as one reading only lays the picture on the targets."""
    draft = work.draft
    section = draft.section("angles")
    asks = {
        "horizontal": "Which way does the horizontal circle count, seen from above?",
        "vertical": "What is the vertical angle?",
    }
    for part, values in (("horizontal", ("clockwise", "counter-clockwise")), ("vertical", geometry.VERTICALS)):
        left = seen.left(part)
        path = f"angles.{part}"
        if len(left) == 1:
            if path in draft.answers and draft.answers[path] != left[0]:
                given = f"{draft.answers[path]!r}, where {seen.proof(part)}"
                raise Refused([Fault(given, left[0], "mend the answer, or the nominal places", f"answer {path}")])
            draft.settled += [Question(path, asks[part])] if path in draft.answers else []
            section.add(part, left[0], seen.proof(part))
            continue
        misfits = {v: f"misses the targets by {seen.best(part, v) * 1e3:.3g} mm" for v in values} if seen.tried else {}
        if part == "vertical" and seen.vertical_named:
            misfits[seen.vertical_named] = f"{misfits.get(seen.vertical_named, '')} the column's name says so".strip()
        why = (
            ""
            if seen.tried
            else " No nominal targets to try it on."
            if not seen.pictures
            else " Units are not known, so it cannot be tried."
        )
        known = tuple(Choice(v, misfits.get(v, "")) for v in values)
        draft.put(section, part, Question(path, asks[part] + why, known))
    _units(work, sightings, seen)


def _units(work: Work, sightings: Kind, seen: Survey) -> None:
    """Units that no name tells, where the geometry leaves one only; a name that the geometry refutes is told."""
    for part, keys in (("unit", ("horizontal", "vertical")), ("distance", ("distance",))):
        left = seen.left(part)
        for key in keys:
            assert sightings.fit is not None
            named = sightings.columns[sightings.fit.places[key]].name.unit if key in sightings.fit.places else ""
            if len(left) == 1 and not named:
                work.units["sightings", key] = (left[0], seen.proof(part))
    if seen.tried and not seen.good and seen.angle_unit:
        best = seen.tried[0]
        work.draft.notes.append(
            f"as the names say ({seen.angle_unit}) no reading lays the sightings on the nominal targets; the best is "
            f"{best.reading.words}, which misses them by {best.misfit * 1e3:.3g} mm"
        )


def strength(draft: Draft, magnets: Kind | None) -> None:
    """Derivative or coefficient, which numbers cannot tell, and the current, which a name may."""
    if magnets is None or magnets.fit is None or "strength" not in magnets.fit.places:
        return
    section = draft.section("strength")
    kinds = {KINDS.get(plain(c), "") for c in magnets.columns[magnets.fit.places.get("kind", 0)].distinct}
    column = magnets.columns[magnets.fit.places["strength"]]
    if kinds <= {"dipole", "quadrupole"}:
        section.add("means", "derivative", "of dipoles and quadrupoles both mean the same")
    else:
        known = (
            Choice("derivative", "of By: a sextupole's By = s x^2 / 2, an octupole's s x^3 / 6"),
            Choice("coefficient", "of its power series: By = s x^2, s x^3"),
        )
        asks = f"What does {column.header!r} mean? Numbers cannot tell it; a mix-up is a factor 2 or 6."
        draft.put(section, "means", Question("strength.means", asks, known))
    if column.name.at_current:
        section.add("at_current", column.name.at_current, f"the name {column.header!r} says it")
    else:
        facts.loose(draft, section, "at_current", "magnet current at which the strengths hold", "current")


def signals(draft: Draft, wire: Sequence[Kind]) -> None:
    """Peak or rms, which numbers cannot tell, and the time factor, which sweeps can."""
    if not wire:
        return
    section = draft.section("signals")
    for key, what in (("displacements", ("_in", "_amplitude")), ("currents", ("drive_current",))):
        told = {
            k.columns[p].header: k.columns[p].name.amplitude
            for k in wire if k.fit
            for m, p in k.fit.places.items()
            if m.endswith(what) and k.columns[p].name.amplitude
        }  # fmt: skip
        if len(set(told.values())) == 1:
            section.add(key, next(iter(told.values())), f"the name {next(iter(told))!r} says it")
            continue
        asks = (
            f"How do the {key} of the wire's tables count? Numbers cannot tell it; a mix-up is a factor 1.41 or more."
        )
        draft.put(section, key, Question(f"signals.{key}", asks, tuple(map(Choice, _allowed("signals", key)))))
    turns = turning([s for k in wire if k.role == "wire_sweeps" for s in _sweeps(k)])
    if turns.factor:
        path = "signals.time_factor"
        count = turns.clockwise + turns.counter
        way = "clockwise" if turns.clockwise else "counter-clockwise"
        why = f"all {count} round sweeps run {way} in the plane of in-phase and quadrature as the frequency rises"
        if path in draft.answers and draft.answers[path] != turns.factor:
            given = f"{draft.answers[path]!r}, where {why}"
            remedy = "mend the answer; a resonance that loses energy cannot turn the other way"
            raise Refused([Fault(given, turns.factor, remedy, f"answer {path}")])
        draft.settled += [Question(path, why)] if path in draft.answers else []
        section.add("time_factor", turns.factor, why)
        return
    asks = "Which time factor has the quadrature part? The sweeps do not show it." if wire else ""
    known = (
        Choice("exp(+iwt)", "what lags has a negative phase"),
        Choice("exp(-iwt)", "what lags has a positive phase"),
    )
    draft.put(section, "time_factor", Question("signals.time_factor", asks, known))


def _allowed(*path: str) -> list[str]:
    """The words that a description takes at this key, from its schema."""
    rule: object = schema("lab")
    for name in (*(part for key in path for part in ("properties", key)), "enum"):
        rule = rule.get(name, []) if isinstance(rule, Mapping) else []
    return [str(word) for word in rule] if isinstance(rule, list) else []


def logger(draft: Draft, section: Section, kind: Kind) -> None:
    """What a ride logger's numbers are: asked; its windows and whether the weight is in them: seen."""
    assert kind.fit is not None
    values = [c.values for k, p in kind.fit.places.items() if k != "temperature" and (c := kind.columns[p]).look == "n"]
    asks = "What are the logger's numbers? A largest value and a mean of a window look alike."
    words = _allowed("tables", "ride", "kind")
    known = tuple(map(Choice, words))
    told = draft.put(section, "kind", Question("tables.ride.kind", asks, known, needed=False)) if words else None
    rest = np.array([np.median(v[np.isfinite(v)]) for v in values]) if values else np.zeros(0)
    units = {
        kind.columns[p].name.unit
        for k, p in kind.fit.places.items()
        if kind.columns[p].look == "n" and k != "temperature"
    }
    weight = {"g": 1.0, "m/s2": 9.81}.get(next(iter(units), ""), 0.0) if len(units) == 1 else 0.0
    if weight and len(rest) == 3 and 0.8 < np.abs(rest).max() / weight < 1.2:
        section.add(
            "gravity", "included", f"medians of {', '.join(f'{r:.3g}' for r in rest)}: one axis shows the weight"
        )
    elif weight and len(rest) == 3 and np.abs(rest).max() / weight < 0.3:
        section.add("gravity", "removed", f"medians of {', '.join(f'{r:.3g}' for r in rest)}: no axis shows the weight")
    step = _step(kind)
    if told in ("window maxima", "window rms", "peak to peak") and step:
        section.add("window", f"{step:g} s", "the step of nearly all its times")


def _step(kind: Kind) -> float:
    """The step of times [s] when nearly all are alike, else 0."""
    assert kind.fit is not None
    column = kind.columns[kind.fit.places["time"]] if "time" in kind.fit.places else None
    fitting = notations(column.cells) if column is not None else []
    if column is None or len(fitting) != 1:
        return 0.0
    steps = np.diff(np.array(clock.seconds(column.cells, fitting[0])[0], float))
    usual = float(np.median(steps)) if steps.size else 0.0
    return usual if steps.size and np.mean(np.abs(steps - usual) < 0.01 * max(usual, 1e-3)) > 0.9 else 0.0


def _sweeps(kind: Kind) -> list[Sweep]:
    """Every run of one mode in one file, with the phasor of each axis."""
    assert kind.fit is not None
    at, columns = kind.fit.places, kind.columns
    if not {"mode", "drive_frequency"} <= set(at):
        return []
    paths = [i for i, f in enumerate(kind.files) for _ in f.shape.lines]
    modes, frequency = columns[at["mode"]].values, columns[at["drive_frequency"]].values
    keys = list(zip(paths, modes.tolist(), strict=True))
    cuts = [0, *(i for i in range(1, len(keys)) if keys[i] != keys[i - 1]), len(keys)]
    found = []
    for letter in LETTERS:
        if {f"{letter}_in", f"{letter}_quadrature"} <= set(at):
            z = columns[at[f"{letter}_in"]].values + 1j * columns[at[f"{letter}_quadrature"]].values
        elif {f"{letter}_amplitude", f"{letter}_phase"} <= set(at):
            phase = columns[at[f"{letter}_phase"]]
            unit = geometry.ANGLES.get(phase.name.unit, 0.0)
            z = columns[at[f"{letter}_amplitude"]].values * np.exp(1j * unit * phase.values)
        else:
            continue
        found += [(frequency[a:b], z[a:b]) for a, b in pairwise(cuts)]
    return found

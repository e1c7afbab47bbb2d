"""The sums behind a finding of the wire room, by name: from axes, sag and sensors down to the rows of scans and sweeps.

Names of the document: ``axes/<magnet>/x``, ``y``, ``slope_x``, ``slope_y``, ``roll``, ``u_roll``, ``z``, ``x_with_remanence``,
``y_with_remanence``, ``corrections/<i>/x`` and so on; ``wire/f1_x``, ``f1_y``, ``sag``, ``u_sag``, ``sensor_turn``,
``u_sensor_turn``. Spreads of causes: ``cause/<id>/<i>/<j>``. What stands behind them has a part behind #.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from monochord.ground.trace import Line, Sum, Unfold
from monochord.wire.evidence import Evidence
from monochord.wire.law_nodes import law_nodes
from monochord.wire.unfold_base import Base, Keys, setting, unknown
from monochord.wire.unfold_causes import Causes
from monochord.wire.unfold_centre import Centres, axis_name
from monochord.wire.unfold_corrections import Corrections
from monochord.wire.unfold_drift import Drifts
from monochord.wire.unfold_law import Laws
from monochord.wire.unfold_remanence import Remanences
from monochord.wire.unfold_roll import Rolls
from monochord.wire.unfold_rows import Rows
from monochord.wire.unfold_sensors import Sensors
from monochord.wire.unfold_sweeps import Sweeps
from monochord.wire.unfold_transfer import Transfers
from monochord.wire.unfold_weights import Weights


@dataclass(frozen=True, eq=False, slots=True)
class _Tellers:
    """One teller for every kind of number."""

    base: Base
    sweeps: Sweeps | None
    transfers: Transfers
    drifts: Drifts
    weights: Weights
    rows: Rows
    laws: Laws
    sensors: Sensors
    centres: Centres
    rolls: Rolls
    remanences: Remanences
    corrections: Corrections
    causes: Causes


def unfold_of(evidence: Evidence) -> Unfold:
    """What tells the numbers of a finding, in the wire's frame."""
    base = Base(evidence)
    sweeps = Sweeps(evidence.fit) if evidence.fit is not None else None
    transfers = Transfers(base, sweeps)
    drifts = Drifts(base, transfers)
    weights = Weights(base, transfers, drifts)
    rows = Rows(base, transfers, drifts, weights)
    laws = Laws(base, rows, weights, law_nodes(base))
    sensors = Sensors(laws, transfers)
    centres = Centres(base, laws, weights)
    rolls, corrections = Rolls(centres, sensors), Corrections(base, centres)
    causes = Causes(base, centres, sensors, transfers, drifts, rolls)
    tellers = _Tellers(
        base,
        sweeps,
        transfers,
        drifts,
        weights,
        rows,
        laws,
        sensors,
        centres,
        rolls,
        Remanences(centres),
        corrections,
        causes,
    )
    inside = _inside(tellers)

    def tell(name: str) -> Sum:
        head, _, rest = name.partition("/")
        try:
            if name.startswith("wire#"):
                keys = keys_of(name[len("wire#") :])
                return inside[keys[0]](keys[1:])
            if head == "axes":
                return _axis(tellers, name, keys_of(rest))
            if head == "cause":
                return causes.tell(*cause_of(rest))
            return _wire(tellers, rest) if head == "wire" else _refuse(name)
        except (KeyError, IndexError) as error:
            raise unknown(name) from error

    return tell


def keys_of(text: str) -> list[str]:
    """The keys of a name, ~1 and ~0 read as RFC 6901 wants.

    >>> keys_of("Q1~1a/x#mode 2")
    ['Q1/a', 'x#mode 2']
    """
    return [key.replace("~1", "/").replace("~0", "~") for key in text.split("/")]


def cause_of(text: str) -> tuple[str, int, int]:
    """Id and entry of a cause's spread; its id may hold a slash, escaped or not.

    >>> cause_of("fit:bench~1Q1/0/1"), cause_of("fit:bench/Q1/0/1")
    (('fit:bench/Q1', 0, 1), ('fit:bench/Q1', 0, 1))
    """
    keys = keys_of(text)
    if len(keys) < 3 or not keys[-1].isdigit() or not keys[-2].isdigit():
        raise unknown(f"cause/{text}")
    return "/".join(keys[:-2]), int(keys[-2]), int(keys[-1])


def _refuse(name: str) -> Sum:
    raise unknown(name)


def _inside(t: _Tellers) -> dict[str, Callable[[Keys], Sum]]:
    """What stands behind ``wire#``, by its first key."""
    return {
        "law": t.laws.tell,
        "as read": lambda keys: t.rows.stage(keys, 0),
        "without far modes": lambda keys: t.rows.stage(keys, 1),
        "corrected": lambda keys: t.rows.stage(keys, 2),
        "plain": t.rows.plain,
        "lagging": t.rows.lagging,
        "leak": t.rows.leak,
        "shift": t.drifts.mean,
        "scan shift": t.drifts.scan,
        "drift": t.drifts.run,
        "shift at": t.drifts.at,
        "own shift": t.drifts.own,
        "shift variance": t.drifts.u_scan,
        "own variance": t.drifts.u_own,
        "transfer": t.transfers.tell,
        "sag variance": t.transfers.sag_variance,
        "sweeps": t.sweeps.tell if t.sweeps is not None else lambda keys: _refuse("/".join(keys)),
        "weight": t.weights.tell,
        "sensor": t.sensors.tell,
        "noise": t.sensors.noise,
        "strength ratio": t.centres.ratio,
        "remanence": t.remanences.remanence,
    }


def _wire(t: _Tellers, what: str) -> Sum:
    """The numbers of the document's wire."""
    if what in ("f1_x", "f1_y"):
        return t.transfers.plane(what)
    if what in ("sensor_turn", "u_sensor_turn"):
        return t.rolls.pair(what)
    if what in ("sag", "u_sag"):
        return t.transfers.sag() if what == "sag" else t.transfers.u_sag()
    raise unknown(f"wire/{what}")


def _axis(t: _Tellers, name: str, keys: Sequence[str]) -> Sum:
    """The numbers of one axis."""
    magnet, rest = keys[0], list(keys[1:])
    if rest[0] == "corrections" and len(rest) == 3:
        return t.corrections.tell(magnet, rest[1], rest[2])
    what, _, part = "/".join(rest).partition("#")
    if what in ("x", "y", "slope_x", "slope_y") and part in ("", "frame of the wire"):
        return t.centres.wire(magnet, what, name)
    if what in ("x", "y"):
        number = part.rsplit(" ", 1)[-1]
        return (
            t.centres.zero(magnet, what, number)
            if part.startswith("zero of ")
            else t.centres.mode(magnet, what, number)
        )
    if what in ("x_with_remanence", "y_with_remanence"):
        return t.remanences.tell(magnet, what[0], part)
    if what in ("roll", "u_roll"):
        return _roll(t, magnet, what, part)
    return middle(magnet, t.centres.axis(magnet).z) if what == "z" and not part else _refuse(name)


def _roll(t: _Tellers, magnet: str, what: str, part: str) -> Sum:
    if part:
        return t.rolls.angle(magnet) if part == "angle of the field" else t.rolls.u_angle(magnet)
    return t.rolls.roll(magnet) if what == "roll" else t.rolls.u_roll(magnet)


def middle(magnet: str, z: float) -> Sum:
    """Where a magnet's middle is, a given fact.

    >>> middle("Q1", 0.5).lines[0].places[0].column
    'girder.items.Q1.point.2'
    """
    line = Line("middle of the magnet", z, unit="m", places=setting(f"girder.items.{magnet}.point.2"))
    return Sum(axis_name(magnet, "z"), "m", z, (line,), "as told")

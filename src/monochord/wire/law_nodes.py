"""Every field law of an evaluation with the readings it was fitted to, row by row: blocks and backgrounds of all rounds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.wire.background import Background, plan_levels
from monochord.wire.blocks import Block, to_current
from monochord.wire.evidence import Round
from monochord.wire.field_law import Law, Plan, as_complex, solve_law, stacked
from monochord.wire.model import ComplexArray
from monochord.wire.readings import Readings
from monochord.wire.unfold_base import Base, Row

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class LawNode:
    """One law with its rows.

    keys      of its names, such as ("3", "mode 2", "Q1");  stage  the round, 0 to 2
    plan, solved   least squares and coefficients (N, 8) as the readings' columns
    rows      n readings;  zeta  (n,) [m];  columns  (n, 8) readings that were fitted [T m]
    factor    (n,) to the block's current;  background  that was subtracted
    mixed     parts and laws that this one was put together from, () for a law that was fitted itself
    block     of a magnet, None for a background;  noisier  true over told noise
    """

    keys: tuple[str, ...]
    stage: int
    plan: Plan
    solved: ComplexArray
    rows: tuple[Row, ...]
    zeta: ComplexArray
    columns: ComplexArray
    factor: Array
    law: Law
    background: LawNode | None = None
    mixed: tuple[tuple[float, LawNode], ...] = ()
    block: Block | None = None
    noisier: float = 1.0

    @property
    def order(self) -> int:
        """Number of coefficients."""
        return len(self.solved)

    def constants(self) -> ComplexArray:
        """The scans' own constants [T m], those beyond the first."""
        return as_complex(self.plan.gain[2 * self.order :] @ stacked(self.columns[:, 0]))

    def own(self) -> ComplexArray:
        """How the readings feel the scans' own constants (n, f)."""
        f = (len(self.plan.gain) - 2 * self.order) // 2
        white = self.plan.white[:, 2 * self.order :] * self.plan.sigma[:, None]
        n = len(self.rows)
        return np.asarray(white[:n, 0::2] + 1j * white[n:, 0::2], complex).reshape(n, f)


def law_nodes(base: Base) -> dict[tuple[str, ...], LawNode]:
    """All laws of all rounds by the keys of their names."""
    found: dict[tuple[str, ...], LawNode] = {}
    for stage, one in enumerate(base.evidence.sound.rounds):
        found |= _of_round(base, one, stage)
    return found


def _of_round(base: Base, one: Round, stage: int) -> dict[tuple[str, ...], LawNode]:
    found: dict[tuple[str, ...], LawNode] = {}
    backgrounds: dict[int, LawNode] = {}
    for background in one.backgrounds:
        for node in _background(base, one, stage, background):
            found[node.keys] = node
            backgrounds[id(background)] = node
    for block in one.blocks:
        node = _block(base, one, stage, block, backgrounds)
        found[node.keys] = node
    return found


def _block(base: Base, one: Round, stage: int, block: Block, backgrounds: Mapping[int, LawNode]) -> LawNode:
    readings, law = block.readings, block.law
    factor, zeta = to_current(readings), readings.passes.zeta
    columns = readings.columns * factor[:, None]
    background = backgrounds[id(block.background)] if block.background is not None else None
    if block.background is not None:
        columns = columns - factor[:, None] * block.background.law.at(zeta)
    keys = (str(stage + 1), f"mode {block.mode}", block.magnet.name)
    rows = tuple(base.rows(readings.passes))
    return LawNode(
        keys, stage, law.plan, law.solved, rows, zeta, columns, factor, law, background, (), block, one.noisier
    )


def _background(base: Base, one: Round, stage: int, background: Background) -> list[LawNode]:
    """A background's law; the last of the list is the one that was subtracted, before it the laws it was put together from."""
    mode, head = f"mode {background.mode}", (str(stage + 1), f"background {background.scope}")
    off = [r for r in one.readings if not r.passes.on and r.passes.mode == background.mode]
    if background.shared:
        return [_fitted(base, one.noisier, head, off, background.law)]
    magnet = next(b.magnet for b in one.blocks if b.background is background)
    alone = [r for r in off if r.passes.magnet == magnet.name]
    if alone and background.scope == f"{mode}, {magnet.name}":
        return [_fitted(base, one.noisier, head, alone, background.law)]
    lit = next(b.readings for b in one.blocks if b.background is background)
    levels = plan_levels(lit, magnet) or ()
    nodes = []
    for name, level in zip(("lower current", "higher current"), levels, strict=False):
        columns, zeta = lit.columns[level.here], lit.passes.zeta[level.here]
        law = solve_law(level.plan, columns, one.noisier)
        rows = tuple(row for row, here in zip(base.rows(lit.passes), level.here.tolist(), strict=True) if here)
        keys, even = (*head, name), np.ones(len(rows))
        nodes.append(LawNode(keys, stage, law.plan, law.solved, rows, zeta, columns, even, law, noisier=one.noisier))
    first, law = nodes[0], background.law
    mixed = tuple((level.part, node) for level, node in zip(levels, nodes, strict=True))
    return [*nodes, replace(first, keys=head, solved=law.solved, law=law, mixed=mixed)]


def _fitted(base: Base, noisier: float, keys: tuple[str, ...], readings: Sequence[Readings], law: Law) -> LawNode:
    rows = tuple(row for r in readings for row in base.rows(r.passes))
    zeta = np.concatenate([r.passes.zeta for r in readings])
    columns, even, stage = np.concatenate([r.columns for r in readings]), np.ones(len(rows)), int(keys[0]) - 1
    return LawNode(keys, stage, law.plan, law.solved, rows, zeta, columns, even, law, noisier=noisier)

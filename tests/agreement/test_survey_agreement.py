"""The survey's fast path against slow and plain ones: a dense pseudo-inverse, a general optimiser, and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from monochord.campaign.given.survey import Instrument
from monochord.survey.adjust import Settings, Solution, State, Weights, geometry, leans, misclosures, solve, weigh
from monochord.survey.blunders import Survey, clean
from monochord.survey.datum import fit_nominal, rigid_motions, s_transform
from monochord.survey.model import turned
from monochord.survey.network import Network, gather
from monochord.survey.points import adjust_survey
from monochord.survey.reliability import judge
from monochord.survey.start import start
from tests.survey_world import FREE, LEVELLED, errors, hall, survey

Array = NDArray[np.float64]
SETTINGS = Settings()


def adjusted(instrument: Instrument, *, seed: int = 3) -> tuple[Network, Weights, State, Solution]:
    """A small survey with one reading missing, its start and its adjustment."""
    world = survey(seed, instrument=instrument, places=hall(6, 1, 2), stations=2, rounds=2)
    network, _ = gather(world.sightings, [])
    network.values[5, 2] = np.nan
    first = start(network, instrument, np.ones(len(network.targets), np.bool_))
    state = State(first.position, first.rotation, first.points)
    sigma, level = weigh(network, instrument, state)
    weights = Weights(np.where(np.isfinite(network.values), 1.0 / sigma**2, 0.0), 1.0 / level**2)
    return network, weights, state, solve(network, weights, state, SETTINGS)


def moved(state: State, step: Array) -> State:
    """A state moved by (position, turn) of every station and then every point."""
    stations = len(state.position)
    own = step[: 6 * stations].reshape(stations, 6)
    return State(
        state.position + own[:, :3],
        turned(state.rotation, own[:, 3:]),
        state.points + step[6 * stations :].reshape(-1, 3),
    )


def whitened(network: Network, weights: Weights, state: State) -> Array:
    """All residuals over their standard deviations: readings that exist, then levels."""
    residual = misclosures(network, geometry(network, state)[0])
    lean = leans(state, SETTINGS)[0]
    root = np.sqrt(weights.readings)
    return np.concatenate([(root * residual)[root > 0.0], -(np.sqrt(weights.levels)[:, None] * lean).reshape(-1)])


def numerical_design(network: Network, weights: Weights, state: State) -> Array:
    """Whitened design matrix by central differences of a micrometre or microradian."""
    unknowns = 6 * len(state.position) + 3 * len(state.points)
    columns = []
    for unit in np.eye(unknowns):
        ahead, back = (whitened(network, weights, moved(state, sign * 1e-6 * unit)) for sign in (1.0, -1.0))
        columns.append((back - ahead) / 2e-6)
    return np.stack(columns, axis=1)


@pytest.mark.parametrize("instrument", [LEVELLED, FREE])
def test_cofactor_and_redundancy_agree_with_a_dense_pseudo_inverse(instrument: Instrument) -> None:
    network, weights, _, solution = adjusted(instrument)
    design = numerical_design(network, weights, solution.state)
    normal = design.T @ design
    inverse = np.linalg.pinv(normal, rcond=1e-9, hermitian=True)
    points = 6 * len(network.stations)
    datum = np.ones(len(network.targets), np.bool_)
    transform = s_transform(solution.state.points, datum)
    reliability = judge(network, solution, SETTINGS)
    redundancy = 1.0 - np.einsum("ij,jk,ik->i", design, inverse, design)
    own = [reliability.redundancy[np.isfinite(reliability.redundancy)], reliability.level_redundancy.reshape(-1)]
    ours = np.concatenate(own)[: len(redundancy)] if instrument is LEVELLED else own[0]

    # The difference quotients are good to about 1e-6 of their size, and so are these.
    expected = transform @ inverse[points:, points:] @ transform.T
    found = transform @ solution.points_cofactor @ transform.T
    assert np.abs(found - expected).max() < 1e-5 * np.abs(expected).max()
    assert ours == pytest.approx(redundancy[: len(ours)], abs=1e-5)
    assert redundancy.sum() - (0 if instrument is LEVELLED else 4) == pytest.approx(solution.dof, abs=1e-5)


@pytest.mark.parametrize("instrument", [LEVELLED, FREE])
def test_residuals_agree_with_a_general_optimiser(instrument: Instrument) -> None:
    network, weights, state, solution = adjusted(instrument)
    count = 6 * len(network.stations) + 3 * len(network.targets)
    general = least_squares(
        lambda step: whitened(network, weights, moved(state, step)),
        np.zeros(count),
        jac="3-point",
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-15,
    )

    readings = int((weights.readings > 0.0).sum())
    ours = whitened(network, weights, solution.state)

    # Residuals are of order one; 1e-5 of a standard deviation is far below a nanometre.
    assert ours[:readings] == pytest.approx(general.fun[:readings], abs=1e-5)
    # The optimiser may turn the whole survey about up, and with it the two parts of each lean, not its size.
    sizes = [np.hypot(*part[readings:].reshape(-1, 2).T) for part in (ours, general.fun)]
    assert sizes[0] == pytest.approx(sizes[1], abs=1e-5)
    assert solution.square_sum == pytest.approx(float(general.fun @ general.fun), rel=1e-8)


def test_the_test_of_a_pair_is_the_drop_of_the_square_sum_without_it() -> None:
    """For every pair: leaving it out lowers the weighted square sum by its statistic (own identity, derived)."""
    network, weights, state, solution = adjusted(LEVELLED)
    tests = judge(network, solution, SETTINGS).pairs
    for pair in range(network.sizes[2]):
        without = np.where((network.pair == pair)[:, None], 0.0, weights.readings)
        smaller = solve(network, Weights(without, weights.levels), state, SETTINGS)
        own = ((weights.readings - without) * solution.residual**2).sum()
        scatter = own - (own if (network.pair == pair).sum() == 1 else _mean_part(network, weights, solution, pair))
        assert solution.square_sum - scatter - smaller.square_sum == pytest.approx(tests.value[pair], abs=1e-3)


def _mean_part(network: Network, weights: Weights, solution: Solution, pair: int) -> float:
    """The part of a pair's square sum that its rounds have in common; the rest is scatter between rounds."""
    rows = network.pair == pair
    weight = weights.readings[rows]
    total = weight.sum(axis=0)
    mean = (weight * solution.residual[rows]).sum(axis=0) / total
    return float((total * mean**2).sum())


def test_the_pose_onto_the_list_agrees_with_a_library() -> None:
    world = survey(4)
    nominal = np.array([t.nominal for t in world.targets])
    points = np.array([world.truth[t.name] for t in world.targets]) @ Rotation.from_rotvec([0.2, -0.4, 1.1]).as_matrix()
    fit = fit_nominal(points, nominal, np.full(len(points), 5e-4), np.ones(len(points), np.bool_), "survey")
    turn, _ = Rotation.align_vectors(nominal - nominal.mean(axis=0), points - points.mean(axis=0))

    assert fit.used.all()
    assert np.abs(fit.pose.rotation - turn.as_matrix()).max() < 1e-9


def test_in_the_frame_of_the_list_no_mean_shift_and_no_mean_turn_is_left() -> None:
    world = survey(4)
    found = adjust_survey("bench", world.sightings, world.instrument, world.targets)
    datum = [name for name in found.names if found.carriers[name] == "girder"]
    nominal = np.array([t.nominal for t in world.targets if t.name in datum])
    part = found.estimate.pick([f"{name}.{axis}" for name in datum for axis in "xyz"])
    apart = part.value - nominal.reshape(-1)
    motions = rigid_motions(nominal, nominal.mean(axis=0))

    # Micrometres times metres: the fit is exact to a nanometre.
    assert np.abs(motions.T @ apart).max() < 1e-9
    for cause, factor in part.factors.items():
        size = float(np.abs(np.diag(factor.cov)).max())
        # The list departs from the true shape by 20 um on metres, and so do the two ways to turn it.
        assert np.abs(motions.T @ factor.cov @ motions).max() < 1e-3 * size * (motions**2).sum(), cause
        assert np.abs(motions.T @ factor.cov @ motions).max() < 1e-6 * size * (motions**2).sum() ** 2, cause


@pytest.mark.parametrize(
    ("instrument", "stations", "rounds"), [(LEVELLED, 3, 2), (FREE, 2, 1), (FREE, 4, 3), (LEVELLED, 1, 2)]
)
def test_errors_of_simulated_surveys_are_as_large_as_the_covariance_says(
    instrument: Instrument, stations: int, rounds: int
) -> None:
    """Normalised squared errors of 30 surveys, mounting of 3 um and all, against their expectation."""
    squares, freedom = 0.0, 0
    for seed in range(30):
        world = survey(100 + seed, stations=stations, rounds=rounds, instrument=instrument, places=hall(8, 2, 3))
        error, covariance = errors(adjust_survey("o", world.sightings, instrument, world.targets), world.truth)
        values, vectors = np.linalg.eigh(covariance)
        kept = values > 1e-3 * np.median(values)
        squares += float(((vectors[:, kept].T @ error) ** 2 / values[kept]).sum())
        freedom += int(kept.sum())

    # Five standard deviations of a chi-square; rejections at 5 per cent a survey pull by less than one.
    assert squares / freedom == pytest.approx(1.0, abs=5.0 * np.sqrt(2.0 / freedom))


def test_a_good_survey_rarely_loses_a_sighting() -> None:
    """60 surveys without a mistake at a family-wise level of 5 %: 3 are expected to lose one, more than 8 are not (1 in 500)."""
    lost = 0
    for seed in range(60):
        world = survey(500 + seed, places=hall(6, 2, 3))
        found = adjust_survey("o", world.sightings, world.instrument, world.targets)
        lost += bool(found.rejected or found.undetermined)

    assert lost <= 8


def test_the_search_with_nothing_to_find_is_the_plain_adjustment() -> None:
    network, _, state, solution = adjusted(LEVELLED)
    nothing = Survey(network, state, np.zeros((len(network.sightings), 3), np.bool_), np.zeros(2, np.bool_))
    cleaned = clean(nothing, LEVELLED, SETTINGS)

    assert cleaned.solution.square_sum == pytest.approx(solution.square_sum, rel=1e-9)
    assert not cleaned.survey.out.any()

"""Curvature of many posteriors against dense linear algebra, in both of its forms."""

from __future__ import annotations

import numpy as np
import pytest

from wringout.weighing.curvature import Curvature

FEW, MANY = (3, 9), (12, 5)
"""Readings and unknowns: fewer readings than unknowns, and more."""


def curvature(shape: tuple[int, int], seed: int = 1) -> tuple[Curvature, np.ndarray]:
    """Four hypotheses' weighted Jacobians, and A'A + I of each written out."""
    root = np.random.default_rng(seed).normal(0.0, 2.0, (4, *shape))
    return Curvature(root), np.einsum("hri,hrj->hij", root, root) + np.eye(shape[1])


@pytest.mark.parametrize("shape", [FEW, MANY], ids=["few readings", "many readings"])
def test_solving_agrees_with_the_dense_matrix(shape: tuple[int, int]) -> None:
    ours, dense = curvature(shape)
    b = np.random.default_rng(2).normal(size=(4, shape[1]))
    assert ours.solve(b) == pytest.approx(np.linalg.solve(dense, b[:, :, None])[:, :, 0], abs=1e-10)


@pytest.mark.parametrize("shape", [FEW, MANY], ids=["few readings", "many readings"])
def test_several_right_hand_sides_are_solved_at_once(shape: tuple[int, int]) -> None:
    ours, dense = curvature(shape)
    b = np.random.default_rng(3).normal(size=(4, shape[1], 6))
    assert ours.solve(b) == pytest.approx(np.linalg.solve(dense, b), abs=1e-10)


@pytest.mark.parametrize("shape", [FEW, MANY], ids=["few readings", "many readings"])
def test_damping_stands_on_the_diagonal_of_its_own_hypothesis(shape: tuple[int, int]) -> None:
    ours, dense = curvature(shape)
    b = np.random.default_rng(4).normal(size=(4, shape[1]))
    damping = np.array([0.0, 0.5, 3.0, 100.0])
    damped = dense + damping[:, None, None] * np.eye(shape[1])
    assert ours.solve(b, damping) == pytest.approx(np.linalg.solve(damped, b[:, :, None])[:, :, 0], abs=1e-10)


@pytest.mark.parametrize("shape", [FEW, MANY], ids=["few readings", "many readings"])
def test_the_determinant_is_that_of_the_dense_matrix(shape: tuple[int, int]) -> None:
    ours, dense = curvature(shape)
    assert ours.log_determinant() == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-10)


@pytest.mark.parametrize("shape", [FEW, MANY], ids=["few readings", "many readings"])
def test_the_square_of_a_draw_is_its_quadratic_form(shape: tuple[int, int]) -> None:
    ours, dense = curvature(shape)
    x = np.random.default_rng(5).normal(size=(4, 7, shape[1]))
    assert ours.square(x) == pytest.approx(np.einsum("hci,hij,hcj->hc", x, dense, x), rel=1e-12)


@pytest.mark.parametrize("shape", [FEW, MANY], ids=["few readings", "many readings"])
def test_draws_have_the_inverse_curvature_as_covariance(shape: tuple[int, int]) -> None:
    ours, dense = curvature(shape)
    count = 40_000
    drawn = ours.draw(count, np.random.default_rng(6))
    assert drawn.shape == (4, count, shape[1])
    wanted = np.linalg.inv(dense)
    found = np.einsum("hci,hcj->hij", drawn, drawn) / count
    # a sample covariance strays by about sqrt((s_ii s_jj + s_ij^2) / count)
    diagonal = np.einsum("hii->hi", wanted)
    stray = np.sqrt((diagonal[:, :, None] * diagonal[:, None, :] + wanted**2) / count)
    assert (np.abs(found - wanted) <= 5.0 * stray).all()
    assert (np.abs(drawn.mean(axis=1)) <= 5.0 * np.sqrt(diagonal / count)).all()


def test_without_a_reading_the_curvature_is_the_priors() -> None:
    ours = Curvature(np.zeros((1, 0, 4)))
    b = np.arange(4.0)[None]
    assert ours.solve(b) == pytest.approx(b)
    assert ours.log_determinant() == pytest.approx(np.zeros(1))
    assert ours.square(b[None]) == pytest.approx(np.array([[14.0]]))

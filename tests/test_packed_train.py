"""Weights kept in 8 bits; skipped without the extra ``train``."""

import pytest

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")

from rootread.train.packed import LEAST_PACKED, MOST, packed, unpacked  # noqa: E402


def weights() -> dict[str, "torch.Tensor"]:
    torch.manual_seed(0)
    return {
        "conv.weight": torch.randn(32, 16, 3, 3) * torch.logspace(-3, 1, 32)[:, None, None, None],
        "norm.weight": torch.rand(32),
        "norm.seen": torch.tensor(7),
    }


def test_a_packed_table_is_near_itself_by_half_a_step_of_its_row() -> None:
    """However large the other rows are: a step is a 127th of the row's own largest number."""
    exact = weights()
    assert exact["conv.weight"].numel() >= LEAST_PACKED
    back = unpacked(packed(exact))
    assert back.keys() == exact.keys()
    off = (back["conv.weight"] - exact["conv.weight"]).flatten(1).abs().amax(1)
    step = exact["conv.weight"].flatten(1).abs().amax(1) / MOST
    assert (off <= 0.51 * step).all()
    assert back["norm.weight"] == pytest.approx(exact["norm.weight"], rel=1e-3)
    assert int(back["norm.seen"]) == 7


def test_what_was_never_packed_is_left_as_it_is() -> None:
    exact = weights()
    assert all(torch.equal(values, exact[name]) for name, values in unpacked(exact).items())


def test_a_packed_file_is_a_quarter_as_large() -> None:
    exact = weights()
    small, large = (
        sum(values.numel() * values.element_size() for values in one.values())
        for one in (packed(exact), exact)
    )
    assert small < 0.27 * large

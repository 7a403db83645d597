"""Learning to see where two roots meet; skipped where the extra ``train`` is not installed."""

from pathlib import Path

import numpy as np
import onnxruntime
import pytest

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")

from rootread.find.session import ANSWER, INPUT  # noqa: E402
from rootread.scene import draw_scene  # noqa: E402
from rootread.train.net import folded  # noqa: E402
from rootread.train.seams.crops import CLOSE_IN, close_crops, close_places, wrinkled  # noqa: E402
from rootread.train.seams.export import export  # noqa: E402
from rootread.train.seams.label import BESIDE, ROOT, SEAM, SOIL, seam_labels  # noqa: E402
from rootread.train.seams.run import TINY, Pool, Trainer, figures, loss, varied  # noqa: E402

CPU = torch.device("cpu")


def generator(seed: int = 5) -> "torch.Generator":
    return torch.Generator().manual_seed(seed)


def upright_roots(*columns: tuple[int, int], side: int = 32) -> "torch.Tensor":
    """Which root each pixel of a picture shows, of upright roots from one column to before another."""
    root = torch.full((1, side, side), -1)
    for number, (first, last) in enumerate(columns):
        root[..., first:last] = number
    return root


def test_two_thin_roots_side_by_side_have_a_seam_two_pixels_wide_between_them() -> None:
    label = seam_labels(upright_roots((10, 14), (14, 18)), torch.full((1, 32, 32), 2.0))[0, 16]
    assert label.tolist()[10:18] == [ROOT, ROOT, ROOT, SEAM, SEAM, ROOT, ROOT, ROOT]
    assert label.tolist()[6:10] == [SOIL, SOIL, BESIDE, BESIDE]


def test_thick_roots_give_more_of_their_sides_to_a_seam() -> None:
    label = seam_labels(upright_roots((4, 14), (14, 24)), torch.full((1, 32, 32), 5.0))[0, 16]
    assert (label == SEAM).nonzero()[:, 0].tolist() == [12, 13, 14, 15]


def test_soil_too_narrow_for_the_mask_is_a_seam_and_wider_soil_is_none() -> None:
    half = torch.full((1, 32, 32), 2.0)
    narrow = seam_labels(upright_roots((8, 12), (14, 18)), half)[0, 16]
    assert narrow.tolist()[12:14] == [SEAM, SEAM]
    wide = seam_labels(upright_roots((8, 12), (18, 22)), half)[0, 16]
    assert SEAM not in wide.tolist()


def test_one_root_has_no_seam() -> None:
    assert SEAM not in seam_labels(upright_roots((10, 20)), torch.full((1, 32, 32), 5.0))


def test_close_places_lie_near_two_roots() -> None:
    scene = draw_scene(np.random.default_rng(3), "blocked")
    for place in close_places(scene)[::50]:
        near = [np.hypot(*(root.points - place).T).min() for root in scene.roots]
        assert sorted(near)[1] <= CLOSE_IN


def test_roots_are_wrinkled_some_more_than_others() -> None:
    scene = draw_scene(np.random.default_rng(3), "open")
    assert all(root.wrinkle == 0 for root in scene.roots)
    depth = np.array([root.wrinkle for root in wrinkled(scene, np.random.default_rng(1)).roots])
    assert (depth > 0).all() and depth.std() > 0.1 * depth.mean()


def test_crops_of_a_seed_are_the_same_each_time() -> None:
    one, two = (close_crops(4, 64, 3) for _ in range(2))
    assert all(
        np.array_equal(a, b)
        for left, right in zip(one, two, strict=True)
        for a, b in zip(left, right, strict=True)
    )
    rgb, root, half_px = one[0]
    assert rgb.shape == (64, 64, 3) and root.shape == half_px.shape == (64, 64)


def test_a_varied_picture_keeps_its_labels_in_place() -> None:
    """Seams painted black on white are darker than the rest, whatever the turn and the light."""
    label = seam_labels(
        upright_roots((20, 26), (26, 32), side=64).expand(8, -1, -1), torch.full((8, 64, 64), 3.0)
    )
    rgb = torch.where(label == SEAM, 0.1, 0.8)[:, None].expand(-1, 3, -1, -1).contiguous()
    seen, seams = varied(generator(), rgb, label, 48)
    assert seen.shape == (8, 3, 48, 48)
    for one, seam in zip(seen.mean(1), seams == SEAM, strict=True):
        assert float(one[seam].mean()) < float(one[~seam].mean())


def test_a_network_that_knows_has_a_small_loss_and_full_precision() -> None:
    label = seam_labels(upright_roots((10, 14), (14, 18)), torch.full((1, 32, 32), 2.0))
    knows = torch.where(label == SEAM, 8.0, -8.0)
    assert float(loss(knows, label)) < 0.001 < float(loss(-knows, label))

    class Knows(torch.nn.Module):
        def forward(self, rgb: "torch.Tensor") -> "torch.Tensor":
            return knows[:, None]

    found = figures(Knows(), [(torch.zeros(1, 3, 32, 32, dtype=torch.uint8), label)])
    assert found["precision"] == pytest.approx(1.0) and found["f1"] == pytest.approx(1.0)


def test_a_pool_forgets_its_oldest_pictures() -> None:
    pool = Pool(3, 2, CPU)
    for value in range(5):
        pool.add(
            torch.full((1, 3, 2, 2), value, dtype=torch.uint8),
            torch.full((1, 2, 2), value % 4, dtype=torch.uint8),
        )
    assert sorted(pool.rgb[:, 0, 0, 0].tolist()) == [2, 3, 4]


def test_a_checkpoint_goes_on_and_is_written_in_whole_numbers(tmp_path: Path) -> None:
    trainer = Trainer(TINY, CPU)
    trainer.crops.add(*trainer.of_scene(close_crops(1, TINY.side, 8)))
    for _ in range(3):
        trainer.step(0.5)
    trainer.save(tmp_path / "checkpoint.pt")
    later = Trainer(TINY, CPU)
    later.resume(tmp_path / "checkpoint.pt")
    assert later.steps == 3 and not later.fresh
    anew = Trainer(TINY, CPU)
    anew.start(tmp_path / "checkpoint.pt")
    assert torch.equal(anew.net.head.weight, later.average.head.weight) and anew.steps == 0

    pictures = [rgb for rgb, _, _ in close_crops(2, 64, 6)] + [
        np.full((64, 64, 3), v, np.uint8) for v in (0, 255)
    ]
    export(tmp_path / "checkpoint.pt", tmp_path / "seams.onnx", iter(pictures))
    session = onnxruntime.InferenceSession(tmp_path / "seams.onnx")
    (answer,) = session.run([ANSWER], {INPUT: pictures[0][None]})
    net = folded(later.average)
    with torch.no_grad():
        exact = net(torch.from_numpy(pictures[0]).permute(2, 0, 1)[None].float() / 255)[0, 0].numpy()
    assert np.abs(answer[0, ..., 0] - exact).mean() < 0.1

"""The network that sees seams: a small U-Net that begins at full resolution, since seams are a pixel wide."""

from torch import Tensor

from rootread.train.net import Convolution, UNet

WIDTHS = (16, 32, 48, 64)
"""Channels at the picture's resolution, and at 1/2, 1/4 and 1/8 of it."""
DOWN_CONVOLUTIONS = (0, 1, 2, 2)
UP_CONVOLUTIONS = (1, 1, 1)
STRIDE = 2 ** (len(WIDTHS) - 1)
"""Sides of the picture are multiples of this."""


class SeamNet(UNet):
    """Picture 0 to 1 in; log odds that a pixel lies on a seam out."""

    def __init__(self) -> None:
        super().__init__(Convolution(3, WIDTHS[0]), WIDTHS, DOWN_CONVOLUTIONS, UP_CONVOLUTIONS, 1)

    def forward(self, rgb: Tensor) -> Tensor:
        """``(B, 3, M, N)`` to ``(B, 1, M, N)``."""
        return self.of_bytes(rgb * 4.0 - 2.0)

    def of_bytes(self, values: Tensor) -> Tensor:
        """The same from -2 to 2, as bytes stand for."""
        return self.after_stem(self.stem(values))

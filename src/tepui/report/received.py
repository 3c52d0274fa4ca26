"""The received picture as a file that every browser shows."""

import io

import numpy as np
import numpy.typing as npt


def png_of(pixels: npt.NDArray[np.uint8]) -> bytes:
    """The picture as a PNG, nothing lost.

    pixels  (rows, columns, 3), red, green and blue
    """
    from PIL import Image

    drawn = io.BytesIO()
    Image.fromarray(pixels).save(drawn, format="PNG")
    return drawn.getvalue()

"""The picture of the test programme: a flat-topped mountain, colour patches, the callsign and a running clock.

Theory  Still parts show colour and sharpness, the moving sun shows frozen or repeated pictures, the clock and the
        picture number show how many were lost.
Source  own design; common practice (no published source) for what such a picture should let one judge.
Holds   Any even size from 160 x 128 up. The clock counts from the start of the stream, never the time of day.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import RangeError

PICTURES_PER_S = 25
SUN_PERIOD_S = 4.0
PATCHES = (
    *((235, 235, 235), (222, 190, 60), (70, 170, 190), (70, 160, 80)),
    *((170, 80, 160), (190, 60, 50), (50, 70, 160), (25, 25, 25)),
)
_SKY_TOP, _SKY_FOOT = (38, 66, 104), (226, 205, 168)
_ROCK, _GROUND, _SUN, _INK = (84, 62, 54), (44, 74, 52), (250, 226, 130), (244, 240, 228)


@dataclass(frozen=True, kw_only=True)
class TestCard:
    """The still part, drawn once; ``picture(number)`` adds what moves.

    call    text in the largest letters
    title   text under it
    size    width, height in pixels, both even
    raises  RangeError for a size that cannot be drawn or coded
    """

    __test__ = False  # not a test case, whatever a test runner may think of the name

    call: str
    title: str
    size: tuple[int, int] = (352, 288)
    _still: Any = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        width, height = self.size
        if width < 160 or height < 128 or width % 2 or height % 2:
            raise RangeError(
                f"The picture must be of even size and at least 160 x 128 (letters stay readable), not {width} x "
                f"{height}."
            )
        object.__setattr__(self, "_still", self._draw_still())

    def _font(self, share: float) -> Any:
        from PIL import ImageFont

        return ImageFont.load_default(size=max(8.0, share * self.size[1]))

    def _draw_still(self) -> Any:
        from PIL import Image, ImageDraw

        width, height = self.size
        ramp = np.linspace(0.0, 1.0, height)[:, None, None]
        sky = (1 - ramp) * np.array(_SKY_TOP) + ramp * np.array(_SKY_FOOT)
        image = Image.fromarray(np.broadcast_to(sky, (height, width, 3)).astype(np.uint8))
        draw = ImageDraw.Draw(image)
        outline = [(0.02, 0.78), (0.13, 0.66), (0.17, 0.36), (0.20, 0.33), (0.79, 0.33), (0.83, 0.37), (0.86, 0.64)]
        draw.polygon([(x * width, y * height) for x, y in [*outline, (0.98, 0.78)]], fill=_ROCK)
        draw.rectangle((0, 0.76 * height, width, height), fill=_GROUND)
        self._draw_patches(draw)
        draw.text((0.5 * width, 0.46 * height), self.call, font=self._font(0.17), fill=_INK, anchor="mm")
        draw.text((0.5 * width, 0.60 * height), self.title, font=self._font(0.075), fill=_INK, anchor="mm")
        return image

    def _draw_patches(self, draw: Any) -> None:
        width, height = self.size
        step = 0.9 * width / len(PATCHES)
        for index, colour in enumerate(PATCHES):
            left, top = 0.05 * width + index * step, (0.79 if index % 2 else 0.81) * height
            draw.ellipse((left + 0.1 * step, top, left + 0.9 * step, top + 0.8 * step), fill=colour)

    def picture(self, number: int) -> npt.NDArray[np.uint8]:
        """Picture ``number`` of the stream, counted from 0. uint8 (height, width, 3)"""
        from PIL import ImageDraw

        width, height = self.size
        image = self._still.copy()
        draw = ImageDraw.Draw(image)
        time_s = number / PICTURES_PER_S
        swing = 0.5 - 0.5 * np.cos(2 * np.pi * time_s / SUN_PERIOD_S)
        centre, radius = (0.24 + 0.52 * swing) * width, 0.055 * height
        draw.ellipse((centre - radius, 0.26 * height - radius, centre + radius, 0.26 * height + radius), fill=_SUN)
        minutes, seconds = divmod(time_s, 60)
        clock = f"{int(minutes):02d}:{seconds:05.2f}  {number:06d}"
        draw.text((0.5 * width, 0.09 * height), clock, font=self._font(0.09), fill=_INK, anchor="mm")
        return np.asarray(image)

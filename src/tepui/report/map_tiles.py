"""Tiles of a map: relief lit from the north-west under washes of what a band says, told apart by hatching as well.

Theory  A band is cut into classes at stated values; each class has its own depth of wash and its own hatch, so that no
        colour carries meaning alone. Day and night have their own inks.
Source  our own design, see theme.py and map_picture.py.
Holds   Bands of a coverage map; NaN shows the ground alone.
"""

import io
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

TILE = 256
Bytes = npt.NDArray[np.uint8]
Singles = npt.NDArray[np.float32]
PAPER = {"day": ((0xF8, 0xF8, 0xF4), (0xC4, 0xC9, 0xC2)), "night": ((0x10, 0x25, 0x34), (0x31, 0x4C, 0x5E))}
WASHES = {
    "day": ((0xC3, 0xD2, 0xDB), (0x93, 0xAE, 0xC0), (0x5F, 0x86, 0xA0), (0x33, 0x5B, 0x7A), (0x18, 0x38, 0x54)),
    "night": ((0x27, 0x4A, 0x60), (0x3C, 0x68, 0x80), (0x5D, 0x8B, 0xA2), (0x8C, 0xB3, 0xC6), (0xC4, 0xDD, 0xE8)),
}
SHARE = 0.72


@dataclass(frozen=True, kw_only=True)
class Layer:
    """How one band is shown: the values its classes begin at, words for each, and whether less is more."""

    band: str
    title: str
    unit: str
    edges: tuple[float, ...]
    words: tuple[str, ...]
    falling: bool = False


def layers_for(*, margin_db: float, modes: tuple[str, ...]) -> dict[str, Layer]:
    """The layers of a map by name, the margin kept and the modes being the map's own."""
    kept = (margin_db, margin_db + 10, margin_db + 20)
    gains = (23.0, 17.0, 11.0, 5.0)
    first = [next((n for n, mode in enumerate(modes) if kind in mode), None) for kind in ("QPSK", "16QAM", "64QAM")]
    begins = [(kind, float(n)) for kind, n in zip(("QPSK", "16QAM", "64QAM"), first, strict=True) if n is not None]
    return {
        "margin": Layer(
            band="margin_db",
            title="Margin of the most robust mode",
            unit="dB",
            edges=kept,
            words=tuple(f"{one:g} dB or more" for one in kept),
        ),
        "gain": Layer(
            band="gain_needed_dbi",
            title="Who could see it with which antenna",
            unit="dBi",
            edges=gains,
            words=tuple(f"with {one:g} dBi" for one in gains),
            falling=True,
        ),
        "mode": Layer(
            band="mode_index",
            title="Best mode that keeps the margin",
            unit="",
            edges=tuple(number for _, number in sorted(begins, key=lambda pair: pair[1])),
            words=tuple(f"{kind} or better" for kind, _ in sorted(begins, key=lambda pair: pair[1])),
        ),
        "level": Layer(
            band="level_dbm",
            title="Level at the receive antenna",
            unit="dBm",
            edges=(-100.0, -90.0, -80.0, -70.0, -60.0),
            words=tuple(f"{one} dBm or more" for one in ("−100", "−90", "−80", "−70", "−60")),
        ),
        "cn": Layer(
            band="cn_db",
            title="C/N",
            unit="dB",
            edges=(0.0, 10.0, 20.0, 30.0),
            words=tuple(f"{one} dB or more" for one in (0, 10, 20, 30)),
        ),
    }


def class_of(values: Singles, layer: Layer) -> npt.NDArray[np.int64]:
    """Number of edges passed: 0 where none, or where nothing is known."""
    passed = np.zeros(values.shape, np.int64)
    with np.errstate(invalid="ignore"):
        for edge in layer.edges:
            passed += (values <= edge if layer.falling else values >= edge).astype(np.int64)
    return passed


def wash_of(number: int, count: int, *, theme: str) -> tuple[int, int, int]:
    """Ink of class ``number`` of ``count``, from light to deep."""
    washes = WASHES[theme]
    place = len(washes) - 1 if count <= 1 else round((number - 1) * (len(washes) - 1) / (count - 1))
    return washes[place]


def tile_png(values: Singles, height_m: Singles, layer: Layer, *, pixel_m: float, theme: str) -> bytes:
    """One tile as PNG; the arrays have a rim of one pixel all round for the relief."""
    import matplotlib.image

    light = _lit(height_m, pixel_m)[1:-1, 1:-1, None]
    bright, dark = (np.array(one, float) for one in PAPER[theme])
    ground = bright * light + dark * (1 - light)
    inner = values[1:-1, 1:-1]
    passed = class_of(inner, layer)
    shown = ground.copy()
    for number in range(1, len(layer.edges) + 1):
        here = passed == number
        if here.any():
            ink = np.array(wash_of(number, len(layer.edges), theme=theme), float)
            wash = SHARE * ink + (1 - SHARE) * ground * (0.9 if theme == "day" else 1.1)
            drawn = here & ~_hatch(inner.shape, number)
            shown[drawn] = wash[drawn]
            marked = here & _hatch(inner.shape, number)
            shown[marked] = 0.55 * wash[marked] + 0.45 * (bright if number % 2 else dark)
    nothing = ~np.isfinite(inner)
    shown[nothing] = ground[nothing]
    out = io.BytesIO()
    matplotlib.image.imsave(out, np.clip(shown, 0, 255).astype(np.uint8), format="png")
    return out.getvalue()


def _hatch(shape: tuple[int, ...], number: int) -> npt.NDArray[np.bool_]:
    """Which pixels of a class bear its hatch: dots, wide strokes, strokes, crossed strokes, none."""
    row, column = np.indices(shape)
    kind = (number - 1) % 5
    if kind == 0:
        return np.asarray((row % 6 == 0) & (column % 6 == 0))
    if kind == 1:
        return np.asarray((row + column) % 9 == 0)
    if kind == 2:
        return np.asarray((row - column) % 6 == 0)
    if kind == 3:
        return np.asarray(((row + column) % 8 == 0) | ((row - column) % 8 == 0))
    return np.zeros(shape, bool)


def _lit(height_m: Singles, pixel_m: float) -> npt.NDArray[np.float64]:
    """Light on the ground from the north-west, 0 to 1, flat ground at 0.75."""
    down, across = np.gradient(height_m.astype(np.float64), pixel_m)
    light = 0.75 + 2.0 * (across * 0.5 + down * 0.5)
    clipped: npt.NDArray[np.float64] = np.clip(np.nan_to_num(light, nan=0.75), 0.0, 1.0)
    return clipped

"""Colours for fields: maps whose lightness rises evenly, so that they read the same in grey and to the colour-blind."""

from dataclasses import dataclass
from functools import cache

import numpy as np

DARKEST, LIGHTEST = 0.30, 0.95  # lightness of the ends in OKLab, where 0 is black and 1 white
FINE = 1024  # steps on the way, of which the map's are picked
STRONGEST = 0.16  # chroma in OKLab
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # of linear sRGB (IEC 61966-2-1; from memory)
STRENGTH = 0.95  # of the strongest colour that a screen can show at that lightness and hue


@dataclass(frozen=True)
class ColourMap:
    """A way through the hues [degrees, in OKLab] from dark to light."""

    hue_dark: float
    hue_light: float


@dataclass(frozen=True)
class Diverging:
    """Two ways from a light middle to dark ends of one hue each [degrees, in OKLab]: below the middle, above it."""

    hue_below: float
    hue_above: float


WARM = ColourMap(290.0, 458.0)  # violet, red, orange, pale yellow: for temperatures
COOL = ColourMap(272.0, 108.0)  # blue, green, pale yellow: for everything else
DIFFERENCE = Diverging(258.0, 45.0)  # blue below nothing, red-brown above: for differences

# From OKLab to linear sRGB. Source: Ottosson, "A perceptual color space for image processing" (2020); from memory.
_TO_LMS = np.array(
    [[1.0, 0.3963377774, 0.2158037573], [1.0, -0.1055613458, -0.0638541728], [1.0, -0.0894841775, -1.2914855480]]
)
_TO_RGB = np.array(
    [
        [4.0767416621, -3.3077115913, 0.2309699292],
        [-1.2684380046, 2.6097574011, -0.3413193965],
        [-0.0041960863, -0.7034186147, 1.7076147010],
    ]
)


@cache
def colours(colour_map: ColourMap | Diverging, count: int = 256) -> np.ndarray:
    """The map's colours from dark to light, array (count, 3) of uint8, sRGB, read-only; of a diverging one dark, light, dark.

    Lightness (CIE L*, what is left in grey) rises by equal steps while the hue turns; each colour is nearly as strong as a screen
    can show, but never stronger than STRONGEST.
    """
    if isinstance(colour_map, Diverging):
        return _diverging(colour_map, count)
    share = np.linspace(0.0, 1.0, FINE)
    lightness = DARKEST + (LIGHTEST - DARKEST) * share
    hue = np.radians(colour_map.hue_dark + (colour_map.hue_light - colour_map.hue_dark) * share)
    chroma = STRENGTH * np.minimum(_smoothed(_strongest(lightness, hue)), STRONGEST)
    linear = np.clip(_linear_rgb(lightness, chroma, hue), 0.0, 1.0)
    grey = np.cbrt(linear @ LUMINANCE)
    at = np.interp(np.linspace(grey[0], grey[-1], count), grey, share)
    rgb = np.column_stack([np.interp(at, share, channel) for channel in _gamma(linear).T])
    table = (255 * rgb + 0.5).astype(np.uint8)
    table.setflags(write=False)
    return table


def _diverging(colour_map: Diverging, count: int) -> np.ndarray:
    """Both arms fade to the same light grey, by equal steps of lightness (CIE L*) from equally dark ends."""
    share = np.linspace(0.0, 1.0, FINE)
    lightness = DARKEST + (LIGHTEST - DARKEST) * share
    arms = []
    for degrees in (colour_map.hue_below, colour_map.hue_above):
        hue = np.full(FINE, np.radians(degrees))
        chroma = (
            STRENGTH
            * np.minimum(_smoothed(_strongest(lightness, hue)), STRONGEST)
            * np.sin(np.pi * np.minimum(0.5, 1 - share))
        )
        linear = np.clip(_linear_rgb(lightness, chroma, hue), 0.0, 1.0)
        arms.append((np.cbrt(linear @ LUMINANCE), _gamma(linear)))
    ends = max(grey[0] for grey, _ in arms), min(grey[-1] for grey, _ in arms)
    place = np.abs(np.linspace(-1.0, 1.0, count))
    rows = []
    for (grey, rgb), chosen in zip(arms, (np.arange(count) < count / 2, np.arange(count) >= count / 2)):
        at = ends[1] + (ends[0] - ends[1]) * place[chosen]
        rows.append(np.column_stack([np.interp(at, grey, channel) for channel in rgb.T]))
    table = (255 * np.concatenate(rows) + 0.5).astype(np.uint8)
    table.setflags(write=False)
    return table


def _linear_rgb(lightness: np.ndarray, chroma: np.ndarray, hue: np.ndarray) -> np.ndarray:
    lab = np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)
    return (lab @ _TO_LMS.T) ** 3 @ _TO_RGB.T


def _gamma(linear: np.ndarray) -> np.ndarray:
    """The sRGB curve (IEC 61966-2-1; from memory)."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def _strongest(lightness: np.ndarray, hue: np.ndarray) -> np.ndarray:
    """Largest chroma at each lightness and hue that stays inside sRGB, by bisection."""
    low, high = np.zeros_like(lightness), np.full_like(lightness, 0.4)
    for _ in range(20):
        middle = (low + high) / 2
        rgb = _linear_rgb(lightness, middle, hue)
        fits = ((rgb >= 0) & (rgb <= 1)).all(axis=-1)
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    return low


def _smoothed(values: np.ndarray) -> np.ndarray:
    """A smooth curve that stays at or below the values: no kink in the colours where the screen's limits have one."""
    window = max(len(values) // 8, 1)
    padded = np.pad(values, window, mode="edge")
    lowest = np.lib.stride_tricks.sliding_window_view(padded, window).min(axis=1)
    return np.convolve(lowest, np.ones(window) / window, mode="valid")[1 : len(values) + 1]

"""Colours that colour-blind people can tell apart, and which ink can be read on them."""

LINE_COLOURS = ("#56b4e9", "#e69f00", "#009e73", "#cc79a7", "#f0e442", "#d55e00", "#0072b2")
"""The palette of Okabe and Ito, "Color Universal Design" (2008, jfly.uni-koeln.de/color), without its black; the
order is ours."""

DARK, LIGHT = "#10181c", "#ffffff"
READABLE = 4.5
"""Least contrast of text of any size: WCAG 2.2, success criterion 1.4.3."""


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour written as #rrggbb, 0 to 1 (WCAG 2.2, definitions)."""
    parts = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)  # noqa: PLR2004
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast of two colours, 1 to 21 (WCAG 2.2, definitions)."""
    bright, dim = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def ink_on(colour: str) -> str:
    """Return the dark or the light ink, whichever can be read better on a colour."""
    return max((DARK, LIGHT), key=lambda ink: contrast(ink, colour))


def colour_of(place: int) -> str:
    """Return the colour of the line at a place of the room; they come round again after seven."""
    return LINE_COLOURS[place % len(LINE_COLOURS)]

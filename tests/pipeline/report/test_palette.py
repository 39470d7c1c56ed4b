"""The palette against WCAG contrast and simulated colour-vision deficiency."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from seamtell.features.contracts import CHANNELS, Flaw
from seamtell.pipeline.report import palette

# Machado, Oliveira and Fernandes (2009), IEEE TVCG 15(6), severity 1.0, for linear RGB
# (matrices from memory; the test of neutral greys below would catch a wrong row).
DEFICIENCY = {
    "none": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# IEC 61966-2-1 (sRGB) primaries to CIE XYZ, D65.
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)


def linear_rgb(colour: str) -> NDArray[np.float64]:
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIE 1976 L*a*b*, D65."""
    t = TO_XYZ @ rgb / np.array([0.95047, 1.0, 1.08883])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2."""
    luminance = sorted(float(TO_XYZ[1] @ linear_rgb(c)) for c in (one, other))
    return (luminance[1] + 0.05) / (luminance[0] + 0.05)


def test_contrast_of_black_on_white_is_21_as_wcag_states():
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)


def test_lab_of_pure_red_is_the_published_one():
    # Well-known D65 value of #FF0000 (from memory): 53.24, 80.09, 67.20.
    np.testing.assert_allclose(lab(linear_rgb("#FF0000")), [53.24, 80.09, 67.20], atol=0.03)


@pytest.mark.parametrize("name", DEFICIENCY)
def test_simulation_leaves_neutral_grey_alone(name):
    np.testing.assert_allclose(DEFICIENCY[name] @ np.full(3, 0.4), np.full(3, 0.4), atol=2e-6)


@pytest.mark.parametrize("name", DEFICIENCY)
def test_flaw_colours_stay_apart_under_every_deficiency(name):
    seen = {
        label: lab(np.clip(DEFICIENCY[name] @ linear_rgb(mark.colour), 0, 1))
        for label, mark in palette.FLAW_MARKS.items()
    }
    closest = min(np.linalg.norm(seen[a] - seen[b]) for a, b in itertools.combinations(seen, 2))
    assert closest >= 25.0  # CIE 1976 units; about 2 is just noticeable


def test_every_flaw_has_a_mark_of_its_own_shape():
    assert set(palette.FLAW_MARKS) == {flaw.value for flaw in Flaw}
    assert len({mark.glyph for mark in palette.FLAW_MARKS.values()}) == len(Flaw)
    assert len({(mark.marker, mark.filled) for mark in palette.FLAW_MARKS.values()}) == len(Flaw)


def test_channels_differ_in_line_style_and_not_by_colour_alone():
    assert set(palette.CHANNEL_MARKS) == set(CHANNELS)
    assert len({mark.dash for mark in palette.CHANNEL_MARKS.values()}) == len(CHANNELS)


@pytest.mark.parametrize("paper", [palette.PAPER_LIGHT_PAGE, palette.PAPER_DARK_PAGE])
def test_lines_have_the_contrast_that_wcag_asks_of_graphics(paper):
    # WCAG 2.2, success criterion 1.4.11: 3 to 1.
    assert contrast(palette.CHANNEL_MARKS["specular"].colour, paper) >= 3.0
    assert contrast(palette.RULE_GREY, paper) >= 3.0
    assert contrast(palette.UNKNOWN_GREY, paper) >= 3.0


@pytest.mark.parametrize(
    ("ink", "paper"),
    [
        (palette.INK_LIGHT_PAGE, palette.PAPER_LIGHT_PAGE),
        (palette.INK_DARK_PAGE, palette.PAPER_DARK_PAGE),
    ],
)
def test_text_has_the_enhanced_contrast_of_wcag(ink, paper):
    # WCAG 2.2, success criterion 1.4.6: 7 to 1.
    assert contrast(ink, paper) >= 7.0


def test_a_label_that_is_no_flaw_gets_the_grey_of_the_unknown():
    assert palette.flaw_mark("unclassified").colour == palette.UNKNOWN_GREY
    assert palette.flaw_mark("<b>") == palette.flaw_mark("unclassified")


def test_a_further_channel_gets_a_line_style_of_its_own():
    further = palette.line_mark("third")
    assert further.dash not in {mark.dash for mark in palette.CHANNEL_MARKS.values()}

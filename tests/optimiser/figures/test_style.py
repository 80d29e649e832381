"""Colours are told apart by everybody; ticks read as ordinary numbers."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from optimiser.figures import (
    draw_dead_ends,
    draw_effects,
    draw_indices,
    draw_interactions,
    draw_optimum,
)
from optimiser.figures.style import DARK, LIGHT, frequency_axis, hertz, new_axes, plain
from tests import answers

# Severity 1.0 matrices of Machado, Oliveira & Fernandes (2009), A physiologically-based model
# for simulation of color vision deficiency, IEEE TVCG 15(6), table of the supplement, as
# colorspacious 1.1.2 has them (machado_et_al_2009_matrix). They act on linear RGB.
VISION = {
    "usual": np.eye(3),
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
# IEC 61966-2-1 (sRGB), from memory.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
DATA = ("ink", "quiet", "lead", "sea", "straw")


def linear(colour: str) -> np.ndarray:
    values = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIELAB (CIE 15) under D65."""
    xyz = TO_XYZ @ rgb / np.array([0.9505, 1.0, 1.089])
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    """WCAG 2 contrast ratio."""
    light, dark = sorted((TO_XYZ[1] @ linear(each) for each in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("palette", [LIGHT, DARK])
@pytest.mark.parametrize("vision", VISION)
def test_roles_differ_for_every_kind_of_colour_vision(palette, vision):
    seen = {
        role: lab(np.clip(np.array(VISION[vision]) @ linear(palette[role]), 0, 1)) for role in DATA
    }
    for one, other in itertools.combinations(DATA, 2):
        assert np.linalg.norm(seen[one] - seen[other]) > 20, (one, other)


def test_a_red_and_a_green_of_equal_lightness_would_not_pass():
    seen = [
        lab(np.clip(np.array(VISION["deutan"]) @ linear(each), 0, 1)) for each in
        ("#b5651d", "#6b8e23")
    ]  # fmt: skip
    assert np.linalg.norm(seen[0] - seen[1]) < 20


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_text_and_lead_are_readable_on_the_paper(palette):
    for role in ("ink", "soft", "lead", "sea"):
        assert contrast(palette[role], palette["paper"]) > 4.5
    # Lines need 3 to 1 (WCAG 1.4.11), the quiet ones are many and meant to step back.
    assert contrast(palette["quiet"], palette["paper"]) > 2.4


@pytest.mark.parametrize(
    ("value", "text", "unit"),
    [(20, "20", "20 Hz"), (1000, "1k", "1 kHz"), (12500, "12.5k", "12.5 kHz")],
)
def test_frequencies_read_as_ordinary_numbers(value, text, unit):
    assert hertz(value) == text
    assert hertz(value, unit=True) == unit


@pytest.mark.parametrize(
    ("low", "high", "wanted"),
    [
        (20, 20000, {"20", "100", "1k", "10k", "20k"}),
        (200, 5000, {"200", "500", "1k", "2k", "5k"}),
        (300, 480, {"300", "400"}),
    ],
)
def test_ticks_of_a_frequency_axis(low, high, wanted):
    figure, axes = new_axes(2.0)
    frequency_axis(axes, low, high)
    figure.draw_without_rendering()
    shown = {label.get_text() for label in axes.get_xticklabels()}
    assert wanted <= shown
    assert not [text for text in shown if "e" in text or "^" in text]


@pytest.mark.parametrize(
    ("text", "drawn"),
    [
        ("wall", "wall"),
        ("a\n  b", "a b"),
        ("costs $5 or $x^2$", r"costs \$5 or \$x^2\$"),
        ("壁 thickness", "? thickness"),
        ("x" * 40, "x" * 17 + "…" + "x" * 8),
        ("the second coat of lacquer, front 2", "the second coat o…front 2"),
    ],
)
def test_any_text_of_a_user_can_be_drawn(text, drawn):
    assert plain(text) == drawn


def test_wild_labels_do_not_break_a_picture():
    labels = {"wall": "$\\frac{1}{", "process": "壁" * 60, "cure_time": "a$b" * 30}
    for figure in (
        draw_indices(answers.sensitivity(), labels=labels),
        draw_effects(answers.sensitivity(), labels=labels),
        draw_dead_ends(answers.dead_ends(), labels=labels),
        draw_optimum(answers.optimum(), labels=labels),
    ):
        figure.draw_without_rendering()
        inside = figure.get_tightbbox()
        assert inside.x0 > 0
        assert inside.x1 < figure.get_figwidth()


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_numbers_are_readable_on_the_darkest_cell_of_the_pairs(palette):
    matrix = draw_interactions(answers.sensitivity()).axes[0]
    shade = max(cell.get_alpha() for cell in matrix.patches)
    assert shade > 0.3  # the strongest pair is seen
    over, under = (
        np.array([int(palette[role][at : at + 2], 16) for at in (1, 3, 5)])
        for role in ("straw", "paper")
    )
    mixed = np.round(shade * over + (1 - shade) * under).astype(int)
    assert contrast("#" + "".join(f"{each:02x}" for each in mixed), palette["ink"]) > 4.5

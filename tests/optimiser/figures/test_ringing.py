from __future__ import annotations

import dataclasses

import numpy as np
from matplotlib.text import Text

from experiments.acoustics import Impulse
from optimiser.figures import draw_ringing, to_png
from optimiser.figures.ringing import _SCALE, _end
from optimiser.heard import ringing_of


def ringing(f0=3000.0, q=12.0):
    time = np.arange(4800) / 48000
    h = np.exp(-np.pi * f0 * time / q) * np.sin(2 * np.pi * f0 * time)
    return ringing_of(Impulse(np.concatenate((np.zeros(100), h)), 48000), label="cone.wav")


def test_it_says_what_it_shows():
    figure = draw_ringing(ringing())
    figure.draw_without_rendering()
    said = " | ".join(text.get_text() for text in figure.findobj(Text))
    for words in ("frequency (Hz)", "time since the peak (ms)", "level (dB)", "cone.wav", "1k"):
        assert words in said
    assert figure.get_tightbbox().x1 < figure.get_figwidth()
    assert "No impulse response" in draw_ringing(None).axes[0].texts[0].get_text()


def test_the_scale_darkens_all_the_way():
    """Luminance of ITU-R BT.709: what falls throughout can be read in grey."""
    colours = np.array([_SCALE(x)[:3] for x in np.linspace(0, 1, 60)])
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    luminance = linear @ [0.2126, 0.7152, 0.0722]
    assert np.all(np.diff(luminance) < 0)
    assert luminance[0] - luminance[-1] > 0.9


def test_the_time_shown_covers_the_ringing():
    slow, fast = ringing(q=30.0), ringing(q=5.0)
    # 40 dB at 20 lg(e) pi f0 / Q decibels a second
    assert _end(slow) > 1e3 * 40 * 30 / (8.6859 * np.pi * 3000)
    assert _end(fast) < _end(slow)
    silent = dataclasses.replace(slow, level=np.full_like(slow.level, -99.0))
    assert _end(silent) == 2.0
    assert to_png(draw_ringing(silent), 50).startswith(b"\x89PNG")


def test_the_remark_stands_on_a_light_ground():
    """Letters in ink over whatever shade lies below."""
    (remark,) = [
        text for text in draw_ringing(ringing()).findobj(Text) if "dashed" in text.get_text()
    ]
    ground = remark.get_bbox_patch()
    assert min(ground.get_facecolor()[:3]) > 0.9
    assert ground.get_alpha() >= 0.85

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

from optimiser.figures import draw_indices, to_inline_svg
from optimiser.figures.style import LIGHT
from tests import answers


def test_an_inline_picture_points_only_at_itself():
    text = to_inline_svg(draw_indices(answers.sensitivity()), "knobs", alternative="a & b")
    ids = set(re.findall(r' id="([^"]+)"', text))
    pointed = set(re.findall(r'href="#([^"]+)"', text)) | set(re.findall(r"url\(#([^)]+)\)", text))
    assert pointed == ids
    assert all(each.startswith("knobs-") for each in ids)
    assert "<metadata" not in text


def test_an_inline_picture_follows_the_page_and_escapes_its_words():
    nasty = 'x" onload="alert(1)"><script>\\1'
    text = to_inline_svg(draw_indices(answers.sensitivity()), "k", alternative=nasty)
    root = ElementTree.fromstring(text)
    assert root.attrib["role"] == "img"
    assert root.attrib["aria-label"] == nasty
    assert "onload" not in root.attrib
    assert f"var(--fig-sea, {LIGHT['sea']})" in text
    bare = re.sub(r"var\(--fig-\w+, #\w+\)", "", text)
    assert not [colour for colour in LIGHT.values() if colour in bare]

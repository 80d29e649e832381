from __future__ import annotations

import jinja2
import pytest

from optimiser.templating import environment


def test_text_is_escaped_and_a_missing_name_is_an_error():
    page = environment().from_string("<p>{{ text }}</p>")
    assert page.render(text="<b>&\"'") == "<p>&lt;b&gt;&amp;&#34;&#39;</p>"
    with pytest.raises(jinja2.UndefinedError, match="text"):
        page.render()

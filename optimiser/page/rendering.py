"""Templates of the page, filled in: everything escaped, no style and no script inside."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from optimiser.page.own import own_address
from optimiser.page.rooms import ROOMS
from optimiser.page.told import News
from optimiser.templating import environment

if TYPE_CHECKING:
    from optimiser.page.call import Call

__all__ = ["render"]


def render(template: str, call: Call, news: News | None, shown: Mapping[str, Any]) -> str:
    """Fill in a template of ``templates/page``."""
    found = environment().get_template(f"page/{template}.html.j2")
    return found.render(call=call, news=news, rooms=ROOMS, own=own_address, **shown)

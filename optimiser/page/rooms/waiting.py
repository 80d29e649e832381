"""How far long work is: for the script, and for a person who follows the link."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from optimiser.page.call import Call

__all__ = ["show"]


def show(call: Call) -> Response:
    """Show one job."""
    job = call.desk.work.find(call.path("token"))
    if job is None:
        raise HTTPException(404)
    look = job.look()
    if call.wants_json:
        return JSONResponse({"done": look.done, "share": look.share, "said": look.said})
    return call.page("waiting", job=look)

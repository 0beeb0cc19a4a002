"""The dashboard run without a browser: a page drawn, read and written to."""

import time
from pathlib import Path

from streamlit.testing.v1 import AppTest

from dashboard.server.opening import Opening, open_dashboard
from tests.dashboard_build import AS_OF

APP = str(Path(__file__).resolve().parents[1] / "dashboard" / "app.py")
RUNS = 300
WORKING = "..."  # how a caption ends while something is worked out in the background


def shown(folder, page="", *, as_of=AS_OF, runs=RUNS):
    """One page of the dashboard on a folder, drawn."""
    open_dashboard(Opening(folder=folder, as_of=as_of, runs=runs))
    app = AppTest.from_file(APP, default_timeout=120).run()
    return turned_to(app, page) if page else settled(app)


def turned_to(app, page):
    """Another page of the same visit."""
    return settled(app.switch_page(f"views/{page}.py").run())


def settled(app):
    """The page once nothing is worked out in the background any more."""
    until = time.monotonic() + 120
    while any(caption.value.replace("\\", "").endswith(WORKING) for caption in app.caption):
        assert time.monotonic() < until, words(app)
        time.sleep(0.2)
        app.run()
    return app


def words(app):
    """All text of the page, without the backslashes that escape Markdown."""
    kinds = ("title", "header", "subheader", "markdown", "caption", "text", "error", "success", "info")
    said = [str(element.value) for kind in kinds for element in getattr(app, kind)]
    said += [element.proto.body for element in app.get("html")]
    return "\n".join(said).replace("\\", "")


def save(app, *, hours=None, **fields):
    """Fill the form in and save it."""
    count = app.session_state["sessions_written"]
    if hours is not None:
        next(p for p in app.get("button_group") if p.key == f"hours_{count}").set_value(hours)
    for kind, values in fields.items():
        for key, value in values.items():
            getattr(app, kind)(key=f"{key}_{count}").set_value(value)
    return app.button(key=f"save_{count}").click().run()

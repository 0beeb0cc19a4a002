"""What every page shares: style, the answer at the top, the basis, and notice of changed files."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard.markup import plain
from dashboard.server.opening import opened, state_of
from dashboard.work.forecasts import ForecastRequest, outlook_of, request_for
from dashboard.work.reading import read_folder
from forecast.errors import BenchdaysError
from forecast.present.finish import CAUTION, basis_sentence
from forecast.simulate.outlook import Outlook

_STYLE = Path(__file__).with_name("page.css")
_CHECK_SECONDS = 4.0  # between two looks at the files: soon enough to notice, seldom enough to cost nothing
_WAIT_SECONDS = 0.7  # between two looks at a computation in the background
CHANGED = "The files of this build changed; the page is up to date again."


def apply_style() -> None:
    """Add the style sheet to the page."""
    st.html(_STYLE)


def current_request() -> ForecastRequest:
    """The forecast that this page is about; only for a folder without problems."""
    return request_for(opened(), read_folder(opened().folder))


def show_answer(lines: Sequence[str]) -> None:
    """The answer: the first line as the title, the others below it."""
    with slot():
        st.title(plain(lines[0]), anchor=False)
        for line in lines[1:]:
            st.subheader(plain(line), anchor=False)


def show_basis(outlook: Outlook) -> None:
    """What the answer rests on, and what it is not."""
    st.divider()
    for sentence in (basis_sentence(outlook), *outlook.notes):
        st.text(sentence)
    st.caption(plain(CAUTION))


@contextmanager
def errors_shown() -> Iterator[None]:
    """Show an error that the builder can mend on the page, and end the block there."""
    try:
        yield
    except BenchdaysError as error:
        for line in str(error).splitlines():
            st.error(plain(line))


def announce_change(state: str) -> None:
    """Report that the page shows other files than before, unless they changed them here."""
    before = st.session_state.get("state_shown", state)
    st.session_state["state_shown"] = state
    if before != state and not {"notice", "import_lines"} & set(st.session_state):
        st.toast(CHANGED, duration="long")


@st.fragment(run_every=_CHECK_SECONDS)
def watch_files(state: str) -> None:
    """Offer to update the page when the files are no longer those it shows.

    Parameters
    ----------
    state : digest of the files that the page shows
    """
    if state_of(opened().folder) != state:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.info("The files of this build changed since this page was drawn.")
            if st.button("Update the page", key="update_page"):
                st.session_state.pop("state_shown", None)
                st.rerun()


def slot() -> DeltaGenerator:
    """A place for elements that come and go.

    Without it everything below would be drawn again each time, and what the visitor opened would close.
    """
    return st.container()


def wait_for(ready: Callable[[], bool], message: str) -> None:
    """Show a message that ends in "..." until something is ready, then draw the page again."""

    @st.fragment(run_every=_WAIT_SECONDS)
    def waiting() -> None:
        if ready():
            st.rerun()
        st.caption(message)

    waiting()


def wait_for_all_runs(request: ForecastRequest, outlook: Outlook, *, complete: bool) -> None:
    """The message while the page shows the first runs only."""
    with slot():
        if not complete:
            message = f"Preliminary result from {outlook.settings.runs:,} runs; the others are running..."
            wait_for(lambda: outlook_of(request)[1], message)

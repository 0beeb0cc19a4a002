"""What every page shares: the look, the answer at the top, what it rests on, and word of a changed log."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard.server.opening import opened, state_of
from dashboard.words import plain
from dashboard.work.forecasts import Asked, asked_now
from dashboard.work.reading import read_folder
from forecast.present.finish import CAUTION, basis_sentence
from forecast.simulate.outlook import Outlook

_LOOK_EVERY_SECONDS = 4.0
_WAIT_SECONDS = 0.7
CHANGED = "The files of this build changed; the page shows them as they are now."
_STYLE = """<style>
.stMainBlockContainer { max-width: 62rem; padding-top: 3.5rem; }
table.figures { border-collapse: collapse; font-size: .95rem; width: 100%; }
table.figures caption { caption-side: bottom; font-size: .85rem; opacity: .8; padding-top: .4rem;
  text-align: left; }
table.figures th, table.figures td { border-bottom: 1px solid rgba(128, 138, 148, .4); padding: .4rem .5rem;
  text-align: left; vertical-align: top; }
table.figures th.number, table.figures td.number { text-align: right; }
table.figures .day, table.figures .short { white-space: nowrap; }
table.figures td { overflow-wrap: anywhere; }
div.wide { overflow-x: auto; }
[data-testid=stExpander] pre, [data-testid=stExpander] pre * { overflow-wrap: anywhere;
  white-space: pre-wrap !important; }
div.wide table.figures td { overflow-wrap: normal; }
[data-testid=stButtonGroup] button { font-size: 1.05rem; min-height: 2.9rem; min-width: 3.4rem; }
[data-testid=stCheckbox] label { padding: .5rem 0; }
button[kind=primary], button[kind=primaryFormSubmit] { font-size: 1.15rem; min-height: 3.4rem; }
[data-testid=stVegaLiteChart] svg text { fill: currentColor; }
[data-testid=stCaptionContainer], [data-testid=stCaptionContainer] p { color: inherit; }
[data-testid=stCaptionContainer] { opacity: .85; }
h1 { line-height: 1.2; padding-top: 0; }
@media (prefers-color-scheme: dark) {
  button[kind=primary] p, button[kind=primaryFormSubmit] p { color: #10161c; font-weight: 600; }
}
@media (max-width: 640px) {
  h1 { font-size: 1.6rem; }
  .stMainBlockContainer { padding-left: 1rem; padding-right: 1rem; }
  table.figures { font-size: .85rem; }
  table.figures th, table.figures td { padding: .35rem .25rem; }
  table.figures .short { white-space: normal; }
}
</style>"""


def dress() -> None:
    """Put on the look."""
    st.html(_STYLE)


def asked() -> Asked:
    """The forecast that this page is about; only where the folder could be read."""
    return asked_now(opened(), read_folder(opened().folder))


def answer(lines: Sequence[str]) -> None:
    """The answer first, big; what else belongs to it below."""
    with place_for_passing():
        st.title(plain(lines[0]), anchor=False)
        for line in lines[1:]:
            st.subheader(plain(line), anchor=False)


def basis(outlook: Outlook) -> None:
    """What the answer rests on, and what it is not."""
    st.divider()
    for sentence in (basis_sentence(outlook), *outlook.notes):
        st.text(sentence)
    st.caption(plain(CAUTION))


def tell_of_change(state: str) -> None:
    """Say that the page is drawn from other files than a moment ago, unless this visitor changed them."""
    before = st.session_state.get("state_drawn", state)
    st.session_state["state_drawn"] = state
    if before != state and not {"said", "taken"} & set(st.session_state):
        st.toast(CHANGED, duration="long")


@st.fragment(run_every=_LOOK_EVERY_SECONDS)
def watch(state: str) -> None:
    """Say when the files are no longer those on the page, whoever changed them."""
    if state_of(opened().folder) != state:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.info("The files of this build changed since this page was drawn.")
            if st.button("Show it as it is now", key="show_now"):
                st.session_state.pop("state_drawn", None)
                st.rerun()


def place_for_passing() -> DeltaGenerator:
    """A place for what comes and goes.

    Without it all below would be drawn anew each time, and what the builder opened there would close.
    """
    return st.container()


def wait_for(ready: Callable[[], bool], saying: str) -> None:
    """Say what is still being worked out, and draw the page anew when it is there."""

    @st.fragment(run_every=_WAIT_SECONDS)
    def waiting() -> None:
        if ready():
            st.rerun()
        st.caption(saying)

    waiting()

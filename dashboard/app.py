"""The dashboard's own script: which pages there are for this folder, and the one that is shown."""

from __future__ import annotations

import streamlit as st

from dashboard.frame import dress, tell_of_change, watch
from dashboard.server.opening import opened
from dashboard.views import pages_for
from dashboard.work.reading import read_folder

reading = read_folder(opened().folder)
name = reading.build.name if reading.build is not None else opened().folder.resolve().name
st.set_page_config(page_title=f"{name}: benchdays", page_icon="🛠", layout="wide")
dress()
page = st.navigation(pages_for(reading))
tell_of_change(reading.state)
watch(reading.state)
page.run()

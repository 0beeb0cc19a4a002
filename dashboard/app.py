"""The dashboard's script: the pages for this folder, and the one that is shown."""

from __future__ import annotations

import streamlit as st

from dashboard.frame import announce_change, apply_style, watch_files
from dashboard.server.opening import opened
from dashboard.views import pages_for
from dashboard.work.reading import read_folder

reading = read_folder(opened().folder)
name = reading.build.name if reading.build is not None else opened().folder.resolve().name
st.set_page_config(page_title=f"{name}: benchdays", page_icon="🛠", layout="wide")
apply_style()
page = st.navigation(pages_for(reading))
announce_change(reading.state)
watch_files(reading.state)
page.run()

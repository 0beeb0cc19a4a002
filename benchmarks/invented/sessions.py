"""Rules of a session that both simulators of builders share (habits.py and workshop/presence.py)."""

from __future__ import annotations

# Gamma shape of session hours: a coefficient of variation of 0.49, as in four long logs.
SESSION_SHAPE = 4.2
# A level far above 0 must not make a session certain: judgement.
DAY_CHANCE_CAP = 0.95
# Mean hours of a session on a weekday, relative to the habit's mean: evenings are shorter. Judgement.
WEEKDAY_LENGTH = 0.9
# Step of rounding, in hours -> share of entries: 59-85 % of entries in four long logs are whole hours.
ENTRY_STEPS = {1.0: 0.7, 0.5: 0.22, 0.25: 0.08}
# Log hours per week rise by the level; half of it lengthens sessions, half makes them more frequent.
SESSION_SHARE_OF_LEVEL = 0.5

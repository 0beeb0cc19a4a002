"""The charts: a frame of figures and a theme go in, an Altair chart comes out.

theme    colours and sizes, for the screen and for paper
axes     the axes of all charts, and what they ask of a frame
dates    charts against dates
hours    charts of hours, ratios and shares
"""

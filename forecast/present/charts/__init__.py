"""The charts: a frame of figures and a theme go in, an Altair chart comes out.

theme    colours, sizes and axes, for the screen and for paper
dates    charts against dates
hours    charts of hours, ratios and shares
"""

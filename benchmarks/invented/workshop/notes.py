"""Notes that builders write beside the hours, and start times of sessions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from benchmarks.invented.workshop.build import SyntheticBuild
from benchmarks.invented.workshop.log import LogRow, sessions_of

NOTES = {
    "deburr": (
        "Fingers are grey again", "Every edge, both sides", "Found a burr I had missed last week",
        "Scotch wheel worn out, need another", "Radio on, brain off",
    ),
    "drill": (
        "Started in the middle and worked outwards", "Two bits broken", "Held with every pin we own",
        "Holes line up lovely", "One hole a bit oval, will go a size up there",
    ),
    "dimple": ("Checked each one against the light", "Squeezer where it reached, hammer for the rest",
               "Arm tired, stopped early"),
    "prime": ("Too cold before ten, heater on", "Second coat thin", "Smells for a week",
              "Ran out of primer at the last three parts"),
    "rivet": ("Drilled out four", "Hearing protection on, neighbours warned", "Long ones were short by six",
              "Good evening, hardly a smile among them", "Bucked by torchlight"),
    "fit": ("Off, file, on, off, file", "Needs a shim", "Fits now. Do not touch it again",
            "Spent half the time looking for the 3/16 spanner"),
    "seal": ("Gloves, gloves, gloves", "Pot life is short in this heat", "Sticky but neat",
             "Sealant in my hair"),
    "bend": ("First one scrap, second one good", "Made a form block from the old table leg"),
    "wire": ("Labelled both ends this time", "Crimps tugged, all hold"),
    "test": ("No drips", "Wrote the figures on the wall"),
    "cut": ("Masking tape on the line, cut beside it", "A little long on purpose"),
    "laminate": ("Resin went off early", "Bubbles rolled out", "Weighed resin and glass, near enough equal",
                 "Peel ply on everything"),
    "sand": ("Long board, long arms", "Itches", "Dust outside, door shut"),
    "bond": ("Clamped and walked away", "Squeeze-out all along, good"),
    "fill": ("Looks worse than before, as always",),
    "woodwork": ("Shavings everywhere", "Clamps, all of them", "Glue squeezed out all along",
                 "Sharpened the plane twice", "Measured it from the other end, differs by a hair",
                 "One plank split, scarfed a new end"),
    "finish": ("Dust", "Long board, long arms", "Waited for a dry day", "Runs, will sand them out"),
    "paint": ("A fly in it", "Flat enough from two steps away"),
    "shop": ("Shelf for the skins", "Swept up, found my pencil", "Moved the bench to the wall"),
    "tools": ("Compressor service", "Sharpened everything"),
    "ordering": ("Parts list and a long call",),
    "planning": ("Read ahead and made a list",),
    "cleaning": ("Clean up before the landlord comes",),
}  # fmt: skip
ANY = ("Short one", "Cold hands", "Got further than I thought", "Slow tonight", "Just the two last bits")
AGAIN = ("Took it off and did it again", "Put right what I drilled wrong", "Second try, better",
         "Not happy with it, so again")  # fmt: skip
LUMPED = "Written up afterwards, hours from memory"


def with_notes(synthetic: SyntheticBuild, *, seed: int, share: float = 0.3) -> SyntheticBuild:
    """The same build with notes on a share of the rows, and start times on some."""
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(7,)))
    rows = []
    day = None
    for row in synthetic.rows:
        first_of_day = row.date != day
        day = row.date
        rows.append(replace(row, note=_note(row, share, rng), start=_start(row, first_of_day, rng)))
    return replace(synthetic, rows=tuple(rows), build=replace(synthetic.build, sessions=sessions_of(rows)))


def _note(row: LogRow, share: float, rng: np.random.Generator) -> str:
    chance, which, general = rng.random(3)
    if row.until != row.date:
        return LUMPED
    words = NOTES.get(row.type, ANY) if general < 0.85 else ANY
    if row.rework:
        words, chance = AGAIN, chance * 0.4
    if row.helpers and chance < 0.5:
        return "Neighbour came to hold"
    return words[int(which * len(words))] if chance < share else ""


def _start(row: LogRow, first_of_day: bool, rng: np.random.Generator) -> str:
    chance, which = rng.random(2)
    if not first_of_day or chance > 0.25 or row.until != row.date:
        return ""
    weekend = row.date.weekday() > 4
    hours = ("09:30", "10:00", "13:30", "14:00") if weekend else ("18:45", "19:00", "19:30", "20:00")
    return hours[int(which * len(hours))]

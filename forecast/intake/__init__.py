"""Take a spreadsheet, CSV or Markdown log of any layout into a build folder, without losing a row.

`propose_intake` reads a file and reports how it understood it; `take_in` writes what was proposed.

In the order of the work: `readers` turn a file into `sheet_cells`, `columns` and `sheet_choice` find the
headings and the sheets that hold the log, `cells` read single cells, `parsed_rows` whole rows. `conversion`
turns these into `session_rows` of the log; `changes_since_last_take` finds those that are new, and `doubts`
what is uncertain. `proposal` runs these steps, `summary` prints the result, `write_to_folder` writes it.
"""

from forecast.intake.builder_answers import MEANINGS, BuilderAnswers, parse_answers, parse_mapping
from forecast.intake.export import exported_log
from forecast.intake.proposal import Intake, propose_intake
from forecast.intake.summary import intake_lines, taken_lines
from forecast.intake.write_to_folder import Taken, take_in

__all__ = [
    "MEANINGS",
    "BuilderAnswers",
    "Intake",
    "Taken",
    "exported_log",
    "intake_lines",
    "parse_answers",
    "parse_mapping",
    "propose_intake",
    "take_in",
    "taken_lines",
]

"""Take a spreadsheet, CSV or Markdown log of any shape into a build folder, without losing a row.

`propose_intake` reads a file and says how it understood it; `take_in` writes what was proposed.
"""

from forecast.intake.builder_answers import MEANINGS, BuilderAnswers, parse_answers, parse_mapping
from forecast.intake.cells.task_types import TaskTypes, held_out_accuracy
from forecast.intake.coarse_plan import coarse_plan
from forecast.intake.export import exported_log
from forecast.intake.proposal import Intake, propose_intake
from forecast.intake.summary import intake_lines, taken_lines
from forecast.intake.write_to_folder import Taken, take_in

__all__ = [
    "MEANINGS",
    "BuilderAnswers",
    "Intake",
    "TaskTypes",
    "Taken",
    "coarse_plan",
    "exported_log",
    "held_out_accuracy",
    "intake_lines",
    "parse_answers",
    "parse_mapping",
    "propose_intake",
    "take_in",
    "taken_lines",
]

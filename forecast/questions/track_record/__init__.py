"""Back-test: what past forecasts said, compared with what happened.

past_days         which past days; build_known_on: the folder as known on one of them
replay            the forecasts of one past day
naive             the naive methods to compare with: average pace, earned schedule
earned_schedule   SPI(t) and its forecast
outcomes          what happened, as far as it is known
scored, verdicts  scores and coverage of the forecasts
announced         the announced dates compared with what happened
record            track_record: all of it together
sentences         the record in plain words
answer            the record as JSON
"""

from forecast.questions.track_record.announced import announced_beside_outcomes
from forecast.questions.track_record.earned_schedule import earned_schedule
from forecast.questions.track_record.naive import naive_ways
from forecast.questions.track_record.outcomes import Outcomes
from forecast.questions.track_record.past_days import build_known_on, past_days
from forecast.questions.track_record.record import TrackRecord, score_replays, track_record
from forecast.questions.track_record.replay import (
    RUNS,
    TASKS,
    WINDOW,
    HoursForecast,
    Replay,
    hours_to_come,
    replay_day,
    replay_days,
)
from forecast.questions.track_record.sentences import announced_sentences, early_or_late, record_sentences
from forecast.questions.track_record.verdicts import Judged, MedianError

__all__ = [
    "RUNS",
    "TASKS",
    "WINDOW",
    "HoursForecast",
    "Judged",
    "MedianError",
    "Outcomes",
    "Replay",
    "TrackRecord",
    "announced_beside_outcomes",
    "announced_sentences",
    "build_known_on",
    "early_or_late",
    "earned_schedule",
    "hours_to_come",
    "naive_ways",
    "past_days",
    "record_sentences",
    "replay_day",
    "replay_days",
    "score_replays",
    "track_record",
]

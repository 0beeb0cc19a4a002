"""Can I believe it: what the program would have said on past days, against what happened.

track_record         forecasts from past days, scored, beside the naive ways
past_days            which days; build_known_on: the folder as it was on one of them
read_announced            the dates that were announced, beside what happened
earned_schedule      SPI(t) and its forecast, one of the naive ways
record_sentences     the record in plain words
"""

from forecast.questions.track_record.announced import (
    AnnouncedRecord,
    announced_beside_outcomes,
    read_announced,
)
from forecast.questions.track_record.earned_schedule import EarnedSchedule, earned_schedule
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
from forecast.questions.track_record.scored import LEVELS, WAYS
from forecast.questions.track_record.sentences import announced_sentences, early_or_late, record_sentences
from forecast.questions.track_record.verdicts import Held, Judged, Middle

__all__ = [
    "LEVELS",
    "RUNS",
    "TASKS",
    "WAYS",
    "WINDOW",
    "EarnedSchedule",
    "Held",
    "HoursForecast",
    "Judged",
    "Middle",
    "Outcomes",
    "Replay",
    "AnnouncedRecord",
    "TrackRecord",
    "build_known_on",
    "early_or_late",
    "earned_schedule",
    "hours_to_come",
    "naive_ways",
    "past_days",
    "read_announced",
    "record_sentences",
    "replay_day",
    "replay_days",
    "score_replays",
    "announced_beside_outcomes",
    "announced_sentences",
    "track_record",
]

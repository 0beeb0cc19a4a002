"""Back-test: past forecasts compared with what happened.

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

from forecast.questions.track_record.past_days import past_days
from forecast.questions.track_record.record import TrackRecord, track_record
from forecast.questions.track_record.replay import RUNS
from forecast.questions.track_record.sentences import announced_sentences, early_or_late, record_sentences

__all__ = [
    "RUNS",
    "TrackRecord",
    "announced_sentences",
    "early_or_late",
    "past_days",
    "record_sentences",
    "track_record",
]

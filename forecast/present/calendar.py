"""Dates as a calendar file (RFC 5545): finish dates, order-by dates, days away.

Every event has the same UID in every export, and its SEQUENCE grows with the day of the forecast, so that
importing a new file replaces the events of the old one. A date that is no longer forecast (the stage is
finished, or the date is past the horizon) is exported as a cancelled event.
"""

from __future__ import annotations

import unicodedata
import uuid
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta

from icalendar import Calendar, Event, vText

from forecast.files.logbook import Away
from forecast.present.finish import CAUTION, finish_sentence
from forecast.simulate.outlook import Outlook
from forecast.wording import format_date, target_name

_PRODUCT = "-//benchdays//finish dates//EN"
# Drawn once; another one would duplicate every event that builders have imported.
_NAMESPACE = uuid.UUID("6f0f1c1e-5a0c-5d5b-9a53-3f7f0b0d2c11")
_FIRST_DAY = date(2000, 1, 1)  # before any log, so that SEQUENCE is never negative
_LEVELS = (("even odds", 0.50), ("80 % sure", 0.80))


def calendar_file(outlook: Outlook, order_by: Mapping[str, date] | None = None) -> bytes:
    """Finish dates of every stage and of the build, order-by dates and days away, as iCalendar.

    Parameters
    ----------
    outlook : the forecast
    order_by : delivery -> the last day on which to order it; those already on order have none

    Returns
    -------
    an iCalendar file: all-day events, lines of at most 75 octets
    """
    build = outlook.fitted.build
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    # A plain text would be written without escaping.
    calendar.add("x-wr-calname", vText(_text(f"{build.name}: forecast")))
    for event in (
        *_finish_events(outlook),
        *_order_events(outlook, order_by or {}),
        *_away_events(outlook, build.away),
    ):
        calendar.add_component(event)
    return calendar.to_ical(sorted=True)


def event_uid(build_name: str, *key: str) -> str:
    """The UID of an event: the same in every export and on every machine.

    Parameters
    ----------
    build_name : the name in build.toml
    key : what the event is about, from the general to the particular

    Examples
    --------
    >>> event_uid("Turnstone", "finish", "wings", "p80") == event_uid("Turnstone", "finish", "wings", "p80")
    True
    """
    return f"{uuid.uuid5(_NAMESPACE, chr(31).join((build_name, *key)))}@benchdays"


def _finish_events(outlook: Outlook) -> Iterator[Event]:
    for stage in (*outlook.stages, None):
        for number, (words, level) in enumerate(_LEVELS):
            yield _finish_event(outlook, stage, words, level, first=number == 0)


def _finish_event(outlook: Outlook, stage: str | None, words: str, level: float, *, first: bool) -> Event:
    """One date of one target; once it is finished the first one says so, the others are cancelled."""
    done, day = outlook.finished_on(stage), outlook.date_at(level, stage)
    state = "finished" if done is not None and first else words
    cancelled = day is None or (done is not None and not first)
    target = "build" if stage is None else f"stage {stage}"
    return _event(
        outlook,
        key=("finish", target, f"p{round(100 * level)}"),
        start=day or outlook.as_of,
        summary=f"{target_name(stage)}: {state}",
        description=f"{finish_sentence(outlook, stage)} Forecast of {format_date(outlook.as_of)}. {CAUTION}",
        cancelled=cancelled,
    )


def _order_events(outlook: Outlook, order_by: Mapping[str, date]) -> Iterator[Event]:
    """The last day to order something; cancelled once it is on order."""
    forecast_day = format_date(outlook.as_of)
    for delivery in outlook.fitted.build.deliveries:
        day = order_by.get(delivery.delivery)
        known = [d for d in (delivery.ordered, delivery.arrived) if d is not None and d <= outlook.as_of]
        if day is not None or known == [delivery.ordered]:
            yield _event(
                outlook,
                key=("order", delivery.delivery),
                start=day or delivery.ordered or outlook.as_of,
                summary=f"Order by today: {delivery.title}",
                description=f"The last day to order it, by the forecast of {forecast_day}. {CAUTION}",
                cancelled=day is None,
            )


def _away_events(outlook: Outlook, away: Sequence[Away]) -> Iterator[Event]:
    """Absences that are not over; person and first day identify them from one export to the next."""
    seen: dict[tuple[str, str], int] = {}
    for absence in sorted(away, key=lambda a: (a.start, a.end, a.builder or "", a.reason)):
        who = (absence.builder or "", absence.start.isoformat())
        seen[who] = seen.get(who, 0) + 1
        if absence.end < outlook.as_of:
            continue
        event = _event(
            outlook,
            key=("away", *who, str(seen[who])),
            start=absence.start,
            end=absence.end,
            summary=f"{absence.builder or 'Everybody'} away from the bench",
            description=absence.reason,
        )
        event.add("class", "PRIVATE")
        yield event


def _event(
    outlook: Outlook,
    *,
    key: tuple[str, ...],
    start: date,
    summary: str,
    description: str,
    end: date | None = None,
    cancelled: bool = False,
) -> Event:
    """An all-day event from `start` to `end`, both included; the end in the file is exclusive."""
    event = Event()
    event.add("uid", event_uid(outlook.fitted.build.name, *key))
    event.add("dtstamp", datetime.combine(outlook.as_of, time(), UTC))
    event.add("sequence", max((outlook.as_of - _FIRST_DAY).days, 0))
    event.add("dtstart", start)
    event.add("dtend", (end or start) + timedelta(days=1))
    event.add("summary", _text(summary))
    if description:
        event.add("description", _text(description))
    event.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    event.add("transp", "TRANSPARENT")  # a finish date does not make its day busy
    return event


def _text(text: str) -> str:
    """Text without the control characters that RFC 5545 does not allow, line ends excepted."""
    one_ending = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(c for c in one_ending if c == "\n" or unicodedata.category(c) != "Cc")

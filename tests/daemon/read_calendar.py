"""Says in JSON what the library icalendar understands of the calendar on standard input."""

import json
import sys
from datetime import timezone

import icalendar

events = []
calendar = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
assert calendar["VERSION"] == "2.0" and calendar["PRODID"], "RFC 5545, sections 3.7.3 and 3.7.4"
uids = set()
for event in calendar.walk("VEVENT"):
    assert not event.errors, event.errors
    assert event["UID"] not in uids, "RFC 5545, section 3.8.4.7"
    uids.add(event["UID"])
    begins, ends = event.decoded("DTSTART"), event.decoded("DTEND")
    events.append(
        {
            "uid": event["UID"],
            "begins": begins.astimezone(timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "minutes": int((ends - begins).total_seconds() // 60),
            "stamp": event.decoded("DTSTAMP").isoformat(),
            "summary": event["SUMMARY"],
            "description": event["DESCRIPTION"],
            "location": event["LOCATION"],
            "alarms": len(event.walk("VALARM")),
        }
    )
print(json.dumps(events))

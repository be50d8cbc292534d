"""What somebody would write in an afternoon: parse, last value, one threshold, insert.

Usage: script.py PORT CLIENT_ID MESSAGES FOLDER. Says `begun` and `done`, and waits for its input to close.
"""

import json
import os
import sqlite3
import sys

import paho.mqtt.client as mqtt

WET = 0.34
BATCH = 1000

port, client_id, messages, folder = int(sys.argv[1]), sys.argv[2], int(sys.argv[3]), sys.argv[4]
db = sqlite3.connect(os.path.join(folder, "readings.db"), isolation_level=None)
db.execute("PRAGMA journal_mode=WAL")
db.execute("PRAGMA synchronous=FULL")
db.execute("CREATE TABLE readings (topic TEXT, time INTEGER, value REAL, PRIMARY KEY (topic, time)) WITHOUT ROWID")
db.execute("BEGIN")
last = {}
taken = wet = 0


def take(client, _, message):
    global taken, wet
    if taken == 0:
        print("begun", flush=True)
    reading = json.loads(message.payload)
    if reading["value"] > WET and last.get(message.topic, 0) <= WET:
        wet += 1
    last[message.topic] = reading["value"]
    db.execute("INSERT OR IGNORE INTO readings VALUES (?, ?, ?)", (message.topic, reading["time"], reading["value"]))
    taken += 1
    if taken % BATCH == 0 or taken == messages:
        db.execute("COMMIT")
        if taken == messages:
            client.disconnect()
        else:
            db.execute("BEGIN")


client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=False)
client.max_inflight_messages_set(1000)
client.on_message = take
client.connect("127.0.0.1", port)
client.loop_forever()
print("done", flush=True)
sys.stdin.read()

// What somebody would write in an afternoon: parse, last value, one threshold, insert.
// Usage: node script.js MODULES PORT CLIENT_ID MESSAGES FOLDER. Says `begun` and `done`, and waits for its input to close.
'use strict';
const path = require('node:path');

const [modules, port, clientId, messages, folder] = process.argv.slice(2);
const mqtt = require(path.join(modules, 'mqtt'));
const Database = require(path.join(modules, 'better-sqlite3'));

const WET = 0.34;
const BATCH = 1000;
const db = new Database(path.join(folder, 'readings.db'));
db.pragma('journal_mode = WAL');
db.pragma('synchronous = FULL');
db.exec('CREATE TABLE readings (topic TEXT, time INTEGER, value REAL, PRIMARY KEY (topic, time)) WITHOUT ROWID');
const insert = db.prepare('INSERT OR IGNORE INTO readings VALUES (?, ?, ?)');
const last = new Map();
let taken = 0;
let wet = 0;
db.exec('BEGIN');

const client = mqtt.connect(`mqtt://127.0.0.1:${port}`, { clientId, clean: false });
client.on('message', (topic, payload) => {
  if (taken === 0) console.log('begun');
  const { value, time } = JSON.parse(payload.toString());
  if (value > WET && (last.get(topic) ?? 0) <= WET) wet += 1;
  last.set(topic, value);
  insert.run(topic, time, value);
  taken += 1;
  if (taken % BATCH !== 0 && taken !== Number(messages)) return;
  db.exec('COMMIT');
  if (taken < Number(messages)) {
    db.exec('BEGIN');
    return;
  }
  console.log('done');
  process.stdin.resume();
  process.stdin.on('end', () => process.exit(0));
});

// Daemons to look at, and a browser to look with.

import { spawn } from 'node:child_process';
import { mkdtemp, mkdir, rm, writeFile } from 'node:fs/promises';
import { createServer } from 'node:net';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium } from 'playwright-core';

const ROOT = new URL('../..', import.meta.url).pathname;
const PROGRAM = process.env.BASINWARD ?? join(ROOT, 'target/debug/basinward');
const AXE = createRequire(import.meta.url).resolve('axe-core/axe.min.js');
export const SHOTS = join(ROOT, 'tests/shots');
export const PASSWORD = 'rake trowel spirit level';

export const SIZES = [
  ['small', { width: 360, height: 740 }],
  ['phone', { width: 412, height: 915 }],
  ['desktop', { width: 1280, height: 900 }],
];

const freePort = () => new Promise((found, failed) => {
  const server = createServer();
  server.on('error', failed);
  server.listen(0, '127.0.0.1', () => { const { port } = server.address(); server.close(() => found(port)); });
});

// Waits until `see` gives something, at most a minute.
export const until = async (what, see) => {
  const end = Date.now() + 60_000;
  for (;;) {
    const seen = await see();
    if (seen) return seen;
    if (Date.now() > end) throw new Error(`in vain: ${what}`);
    await new Promise((wake) => setTimeout(wake, 100));
  }
};

const daemon = async (command, environment, ready) => {
  const folder = await mkdtemp(join(tmpdir(), 'basinward-'));
  await mkdir(join(folder, 'systems'));
  const child = spawn(PROGRAM, command(folder), { cwd: folder, env: { ...process.env, ...environment } });
  const said = [];
  for (const stream of [child.stdout, child.stderr]) stream.on('data', (data) => said.push(data));
  const log = () => Buffer.concat(said).toString();
  await until(`the daemon serves: ${log()}`, () => ready(log()) || child.exitCode !== null);
  if (child.exitCode !== null) throw new Error(`the daemon ended: ${log()}`);
  const stop = async () => {
    child.kill('SIGTERM');
    await until('the daemon ends', () => child.exitCode !== null || child.signalCode !== null);
    await rm(folder, { recursive: true, force: true });
  };
  const reload = () => child.kill('SIGHUP');
  return { folder, log, reload, stop };
};

// Invented yards with a past of `days`.
export const startDemo = async (days = 14) => {
  const port = await freePort();
  const command = (folder) => ['demo', '--folder', folder, '--port', port, '--speed', '60', '--backfill-days', days];
  const running = await daemon(command, {}, (log) => log.includes('Open http'));
  return { ...running, home: `http://127.0.0.1:${port}` };
};

// A daemon that nobody has set up, with a broker of its own.
export const startFresh = async () => {
  const [port, broker] = [await freePort(), await freePort()];
  const environment = {
    BASINWARD__DESK__LISTEN: `127.0.0.1:${port}`, BASINWARD__EMBEDDED_BROKER__LISTEN: `127.0.0.1:${broker}`,
  };
  const running = await daemon(() => ['run'], environment, (log) => log.includes('serving'));
  return { ...running, home: `http://127.0.0.1:${port}`, broker };
};

// Publishes one message with QoS 0, by MQTT 3.1.1 (OASIS standard, sections 3.1 and 3.3).
export const publish = (port, topic, payload) => new Promise((done, failed) => {
  import('node:net').then(({ connect }) => {
    const text = (value) => { const bytes = Buffer.from(value); return Buffer.concat([Buffer.from([bytes.length >> 8, bytes.length & 255]), bytes]); };
    const packet = (kind, body) => Buffer.concat([Buffer.from([kind, body.length]), body]);
    const hello = packet(0x10, Buffer.concat([text('MQTT'), Buffer.from([4, 2, 0, 60]), text(`test-${process.pid}-${Date.now()}`)]));
    const socket = connect(port, '127.0.0.1', () => socket.write(hello));
    socket.on('error', failed);
    socket.once('data', () => {
      socket.write(packet(0x30, Buffer.concat([text(topic), Buffer.from(payload)])));
      socket.end(Buffer.from([0xe0, 0]), () => done());
    });
  });
});

export const openBrowser = () => chromium.launch({
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});

// A browser page that remembers what went wrong in it.
export const openPage = async (browser, options = {}) => {
  const context = await browser.newContext({ viewport: SIZES[2][1], ...options });
  const page = await context.newPage();
  page.complaints = [];
  page.on('pageerror', (error) => page.complaints.push(String(error)));
  page.on('console', (message) => {
    const text = message.text();
    // The browser repeats refusals that a test provokes; those it looks at itself.
    if (message.type() === 'error' && !/status of 4\d\d/.test(text)) page.complaints.push(text);
  });
  return page;
};

// What axe-core finds against WCAG 2.2 A and AA.
export const violations = async (page) => {
  // The content policy rightly forbids script tags; evaluating is the browser's own doing.
  const { readFile } = await import('node:fs/promises');
  await page.evaluate(await readFile(AXE, 'utf8'));
  const tags = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];
  const found = await page.evaluate((values) => axe.run(document, { runOnly: { type: 'tag', values } }), tags);
  return found.violations.map(({ id, nodes }) => `${id}: ${nodes.map((node) => `${node.target.join(' ')} ${node.failureSummary}`).join(' | ')}`);
};

// Links of the same name that lead to different places, and folds of the same name: who hears a list of either cannot
// tell them apart (WCAG 2.2, 2.4.4 and 2.4.9).
export const ambiguous = (page) => page.evaluate(() => {
  const told = (element) => (element.getAttribute('aria-label') ?? element.querySelector('title')?.textContent ?? element.textContent).trim().replace(/\s+/g, ' ');
  const named = new Map();
  const note = (name, what) => named.set(name, [...(named.get(name) ?? []), what]);
  for (const link of document.querySelectorAll('main a[href]')) note(`link “${told(link)}”`, link.getAttribute('href'));
  document.querySelectorAll('main summary').forEach((summary, at) => note(`fold “${told(summary)}”`, at));
  return [...named].filter(([, places]) => new Set(places).size > 1).map(([name]) => name);
});

// Bytes that a browser which was never here before loads for a page, as they go over the wire.
export const weight = async (browser, address) => {
  const page = await openPage(browser);
  const loaded = [];
  const note = (request) => loaded.push(request.sizes());
  page.on('requestfinished', note);
  await page.goto(address, { waitUntil: 'load' });
  // What the page asks for by itself right after it was loaded counts as well; the stream of events never ends.
  await page.waitForTimeout(500);
  page.off('requestfinished', note);
  const sizes = await Promise.all(loaded);
  await page.context().close();
  return sizes.reduce((sum, it) => sum + it.responseBodySize + it.responseHeadersSize, 0);
};

export const shoot = async (page, name) => {
  await mkdir(SHOTS, { recursive: true });
  await page.screenshot({ path: join(SHOTS, `${name}.png`), fullPage: true });
};

export { writeFile };

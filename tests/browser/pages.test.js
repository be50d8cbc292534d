// Every page: nothing in the way of anybody (WCAG 2.2 AA by axe-core), light and dark, phone to desktop.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { ambiguous, openBrowser, openPage, shoot, SIZES, startDemo, violations, weight } from './rig.js';

// First load of any page, compressed, bytes.
const LOAD = 150 * 1024;

let demo;
let browser;
// Long enough for something to be wrong: findings and alerts have pages, too.
before(async () => { [demo, browser] = [await startDemo(60), await openBrowser()]; });
after(async () => { await browser?.close(); await demo?.stop(); });

// Makes what no invented yard has: a record of work, a flow test that is over and one that runs.
const work = async (page) => {
  await page.goto(demo.home);
  return page.evaluate(async () => {
    const token = document.querySelector('meta[name=csrf]').content;
    const key = (last) => `0f5b2c1e-77aa-4c55-9c5e-5ec2e7f160${last}`;
    const send = async (path, body) => {
      const headers = { 'content-type': 'application/json', 'x-csrf-token': token };
      const answer = await fetch(`/api/v1${path}`, { method: 'POST', headers, body: JSON.stringify(body) });
      if (!answer.ok) throw new Error(`${path}: ${await answer.text()}`);
    };
    const system = 'larkmere-terrace';
    const record = { subject: { basin: 'quince' }, at: new Date(Date.now() - 3600000).toISOString(), work: ['outlet-cleared'], note: 'roots' };
    await send('/services', { key: key(21), system, record });
    await send(`/systems/${system}/tests`, { key: key(22), method: 'buckets', litres: 20 });
    await send(`/tests/${key(22)}/steps`, { act: 'give-up' });
    await send(`/systems/${system}/tests`, { key: key(23), method: 'probes' });
    return [`/services/${key(21)}`, `/tests/${key(22)}`, `/tests/${key(23)}`, `/systems/${system}/mute`];
  });
};

// Every address that links lead to from the first page, one of a kind.
const places = async (page) => {
  const found = new Map();
  const waiting = ['/', '/setup', '/sign-in', '/no-such-page'];
  const kind = (path) => path.replace(/\/sensors\/.*/, '/sensors/*').replace(/^(\/[a-z-]+\/)[^/]+/, '$1*').replace(/(\/[a-z-]+\/)[^/]+$/, (all, begin) => (begin === '/' ? all : `${begin}*`));
  while (waiting.length) {
    const path = waiting.shift();
    if (found.has(kind(path))) continue;
    const answer = await page.goto(demo.home + path);
    if (!(answer.headers()['content-type'] ?? '').startsWith('text/html')) continue;
    found.set(kind(path), path);
    const links = await page.$$eval('a[href^="/"]', (all) => all.map((link) => link.getAttribute('href')));
    for (const link of links) {
      const next = link.split(/[?#]/)[0];
      if (!/^\/(api|assets|units)\b|\.(csv|ics|json|toml)$|\.csv/.test(next)) waiting.push(next);
    }
  }
  return [...found.values()];
};

test('every page is free of barriers, fits its window and complains of nothing', { timeout: 1_200_000 }, async () => {
  const guide = await openPage(browser);
  const all = await places(guide);
  for (const path of await work(guide)) if (!all.includes(path)) all.push(path);
  await guide.context().close();
  assert.ok(all.length >= 6, all.join(' '));
  const wrong = [];
  for (const colorScheme of ['light', 'dark']) {
    for (const [size, viewport] of SIZES) {
      const page = await openPage(browser, { colorScheme, viewport });
      for (const path of all) {
        const expected = path === '/no-such-page' ? 404 : 200;
        const answer = await page.goto(demo.home + path);
        if (answer.status() !== expected) wrong.push(`${path} answers ${answer.status()}`);
        const name = path.replace(/\W+/g, '-').replace(/^-|-$/g, '') || 'first';
        await shoot(page, `${name}-${size}-${colorScheme}`);
        const wide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
        if (wide > 0) wrong.push(`${path} is ${wide} px too wide on ${size}`);
        for (const name of await ambiguous(page)) wrong.push(`${path} has several of ${name}`);
        for (const found of await violations(page)) wrong.push(`${path} ${size} ${colorScheme}: ${found}`);
      }
      wrong.push(...page.complaints);
      await page.context().close();
    }
  }
  assert.deepEqual([...new Set(wrong)], []);
});

test('every page is light enough for a slow link', { timeout: 600_000 }, async (t) => {
  const guide = await openPage(browser);
  const all = await places(guide);
  await guide.context().close();
  const heavy = [];
  for (const path of all) {
    const bytes = await weight(browser, demo.home + path);
    t.diagnostic(`${(bytes / 1024).toFixed(1).padStart(6)} KiB  ${path}`);
    if (bytes > LOAD) heavy.push(`${path} loads ${bytes} bytes`);
  }
  assert.deepEqual(heavy, []);
});

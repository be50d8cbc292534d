// Every page: nothing in the way of anybody (WCAG 2.2 AA by axe-core), light and dark, phone to desktop.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { openBrowser, openPage, shoot, SIZES, startDemo, violations } from './rig.js';

let demo;
let browser;
before(async () => { [demo, browser] = [await startDemo(), await openBrowser()]; });
after(async () => { await browser?.close(); await demo?.stop(); });

// Every address that links lead to from the first page, one of a kind.
const places = async (page) => {
  const found = new Map();
  const waiting = ['/', '/setup', '/no-such-page'];
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

test('every page is free of barriers, fits its window and complains of nothing', { timeout: 600_000 }, async () => {
  const guide = await openPage(browser);
  const all = await places(guide);
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
        for (const found of await violations(page)) wrong.push(`${path} ${size} ${colorScheme}: ${found}`);
      }
      wrong.push(...page.complaints);
      await page.context().close();
    }
  }
  assert.deepEqual([...new Set(wrong)], []);
});
